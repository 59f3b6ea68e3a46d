"""Accounts: who works in the studio, added, changed and ended; their tokens for programs."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from knox.models import AuthToken

from studio.foundation.doers import SCHEDULE
from studio.foundation.errors import Faults, InvalidInput, NotFound, StateConflict
from studio.foundation.roles import Role
from studio.models import Membership, Numbering

#: The row that one first start at a time locks; no code has this prefix.
FIRST = "first-owner"


class AccountRefused(InvalidInput):
    """An account's name or password cannot be used as it stands."""

    code = "account-refused"
    title = "The account cannot be made like this"


class StartedAlready(StateConflict):
    """The page that makes the first owner works only while the studio has no account."""

    code = "started-already"
    title = "This studio has an owner already"


class NoOwnerLeft(StateConflict):
    """A studio needs one owner who can sign in: make somebody else owner first."""

    code = "no-owner-left"
    title = "Nobody would be left who may change accounts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """An account as the page of people shows it."""

    id: int
    name: str
    role: Role | None
    may_see_costs: bool
    active: bool
    last_seen: datetime | None
    changed_at: datetime | None = None
    changed_by: str = ""


def has_accounts() -> bool:
    """Whether anybody has an account yet. One query."""
    return bool(_accounts().exists())


def _accounts() -> Any:
    """All accounts of people: the one that stands for the schedule is nobody's."""
    return get_user_model()._default_manager.exclude(username=SCHEDULE)


@transaction.atomic
def add_account(
    *, name: str, password: str, role: Role, may_see_costs: bool = False, email: str = ""
) -> Any:
    """A new account with a role. Raises AccountRefused with everything that is wrong."""
    owner = role is Role.OWNER
    account = get_user_model()(
        username=name.strip(), email=email, is_staff=owner, is_superuser=owner
    )
    faults = Faults()
    try:
        account.clean_fields(exclude=["password"])
        account.validate_unique(exclude=["password"])
    except ValidationError as error:
        for field, found in error.message_dict.items():
            for message in found:
                faults.add("unusable", message, "name" if field == "username" else field)
    try:
        validate_password(password, account)
    except ValidationError as error:
        for message in error.messages:
            faults.add("weak", message, "password")
    faults.raise_if_any(AccountRefused)
    account.set_password(password)
    account.save()
    Membership.objects.create(user=account, role=role, may_see_costs=may_see_costs)
    return account


@transaction.atomic
def add_first_owner(*, name: str, password: str) -> Any:
    """The owner who starts the studio; of two who try at once, one is refused.

    Raises StartedAlready as soon as there is any account, and AccountRefused.
    """
    Numbering.objects.get_or_create(prefix=FIRST)
    Numbering.objects.select_for_update().get(prefix=FIRST)
    if has_accounts():
        raise StartedAlready("Sign in, or ask an owner for an account.")
    return add_account(name=name, password=password, role=Role.OWNER)


def people() -> list[Person]:
    """Everybody with an account, by name. One query."""
    accounts = _accounts().select_related("membership__changed_by")
    return [_person(account) for account in accounts.order_by("username")]


def person_by_id(account_id: int) -> Person:
    """One account. One query. Raises NotFound."""
    found = _accounts().select_related("membership__changed_by").filter(pk=account_id).first()
    if found is None:
        raise NotFound("There is no such account.")
    return _person(found)


def _person(account: Any) -> Person:
    membership = getattr(account, "membership", None)
    role = Role(membership.role) if membership else Role.OWNER if account.is_superuser else None
    return Person(
        id=account.pk,
        name=account.get_username(),
        role=role,
        may_see_costs=role is Role.OWNER or bool(membership and membership.may_see_costs),
        active=account.is_active,
        last_seen=account.last_login,
        changed_at=membership.changed_at if membership else None,
        changed_by=str(membership.changed_by or "") if membership else "",
    )


@transaction.atomic
def change_account(account_id: int, *, role: Role, may_see_costs: bool, active: bool) -> None:
    """Give an account another role, open or close costs to it, end it or take it up again.

    An ended account's sessions and tokens are no good from then on. Raises NotFound and
    NoOwnerLeft.
    """
    # All owners are locked in one order: of two owners who end each other, one is refused.
    accounts = _accounts()
    locked = list(accounts.select_for_update().order_by("pk").filter(is_active=True))
    account = accounts.select_for_update().filter(pk=account_id).first()
    if account is None:
        raise NotFound("There is no such account.")
    owners = Membership.objects.filter(user__in=locked, role=Role.OWNER)
    others = owners.exclude(user=account).exists()
    if not others and not (active and role is Role.OWNER):
        raise NoOwnerLeft("Make somebody else owner first.")
    owner = role is Role.OWNER
    account.is_active, account.is_staff, account.is_superuser = active, owner, owner
    account.save(update_fields=["is_active", "is_staff", "is_superuser"])
    Membership.objects.update_or_create(
        user=account, defaults={"role": role, "may_see_costs": may_see_costs}
    )
    if not active:
        AuthToken.objects.filter(user=account).delete()


def tokens_of(account: Any) -> list[AuthToken]:
    """The tokens of an account that are still good, the newest first. One query."""
    return list(AuthToken.objects.filter(user=account).order_by("-created"))


def make_token(account: Any) -> str:
    """A new token for a program. Only its digest is kept: this is the one time it can be read."""
    _, token = AuthToken.objects.create(user=account)
    return str(token)


def end_token(account: Any, *, key: str) -> None:
    """End the account's token that begins with `key`. Raises NotFound."""
    deleted, _ = AuthToken.objects.filter(user=account, token_key=key).delete()
    if not deleted:
        raise NotFound("That token has ended already.")
