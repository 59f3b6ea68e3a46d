"""Accounts: the first owner once, never without an owner, ended ones are out."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from knox.models import AuthToken

from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Role, role_of
from studio.web import accounts
from tests.studio.web.api.people import person

PASSWORD = "goggles-and-gloves-9"


def test_of_two_first_owners_one_is_refused(database):
    def start(name):
        try:
            accounts.add_first_owner(name=name, password=PASSWORD)
        except accounts.StartedAlready:
            return "refused"
        finally:
            connection.close()
        return "owner"

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(start, ["ida", "eve", "mo", "vera"]))
    assert sorted(told) == ["owner", "refused", "refused", "refused"]
    [only] = get_user_model().objects.all()
    assert role_of(only) is Role.OWNER


@pytest.mark.django_db
def test_all_that_is_wrong_is_told_at_once_and_nothing_is_kept():
    with pytest.raises(accounts.AccountRefused) as told:
        accounts.add_account(name="a b", password="123", role=Role.MAKER)
    assert {fault.field for fault in told.value.faults} == {"name", "password"}
    assert not accounts.has_accounts()


@pytest.mark.django_db
def test_a_taken_name_is_refused():
    user = person()
    with pytest.raises(accounts.AccountRefused) as told:
        accounts.add_account(name=user.username, password=PASSWORD, role=Role.MAKER)
    assert [fault.field for fault in told.value.faults] == ["name"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change", [{"role": Role.MAKER, "active": True}, {"role": Role.OWNER, "active": False}]
)
def test_the_last_owner_stays(change):
    last = person("owner")
    person("maker")
    with pytest.raises(accounts.NoOwnerLeft):
        accounts.change_account(last.pk, may_see_costs=True, **change)
    person("owner")
    accounts.change_account(last.pk, may_see_costs=True, **change)
    changed = accounts.person_by_id(last.pk)
    assert (changed.role, changed.active) == (change["role"], change["active"])


@pytest.mark.django_db
def test_an_ended_account_has_no_tokens_and_no_admin():
    person("owner")
    maker = person("maker")
    accounts.make_token(maker)
    accounts.change_account(maker.pk, role=Role.MAKER, may_see_costs=True, active=False)
    assert not AuthToken.objects.filter(user=maker).exists()
    maker.refresh_from_db()
    assert not maker.is_active and not maker.is_superuser


@pytest.mark.django_db
def test_an_account_without_a_role_gets_one():
    person("owner")
    new = person(None)
    accounts.change_account(new.pk, role=Role.VIEWER, may_see_costs=False, active=True)
    assert accounts.person_by_id(new.pk).role is Role.VIEWER


@pytest.mark.django_db
def test_nobody_ends_the_token_of_another():
    mine, other = person(), person()
    accounts.make_token(mine)
    [token] = accounts.tokens_of(mine)
    with pytest.raises(NotFound):
        accounts.end_token(other, key=token.token_key)
    accounts.end_token(mine, key=token.token_key)
    assert accounts.tokens_of(mine) == []


@pytest.mark.django_db
def test_nobody_there_is_told():
    for call in (
        lambda: accounts.person_by_id(10**6),
        lambda: accounts.change_account(10**6, role=Role.MAKER, may_see_costs=False, active=True),
    ):
        with pytest.raises(Refusal):
            call()
