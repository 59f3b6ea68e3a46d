"""Rows made once a module are the same for each of its tests, whatever the one before did."""

import pytest
from django.contrib.auth.models import Group
from django.db import IntegrityError, connection, transaction

from tests.kept import once_a_module, shares

pytestmark = pytest.mark.django_db
MADE, HOOKS = [], []


def make_group():
    MADE.append(Group.objects.create(name="kept"))
    transaction.on_commit(lambda: HOOKS.append("of the making"))
    return MADE[-1]


group_once = once_a_module(make_group)


@pytest.fixture
def group(group_once):
    return group_once.fresh()


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_what_a_test_changes_is_gone_for_the_next(group, turn):
    assert len(MADE) == 1
    assert list(Group.objects.values_list("name", flat=True)) == ["kept"]
    assert group.name == "kept"
    group.name = "changed"
    group.save()
    Group.objects.create(name="another")
    if turn == 2:
        Group.objects.all().delete()


@pytest.mark.parametrize("turn", [1, 2])
def test_a_refused_change_is_undone_alone(group, turn):
    Group.objects.create(name="before")
    with pytest.raises(IntegrityError), transaction.atomic():
        Group.objects.create(name="kept")
    assert set(Group.objects.values_list("name", flat=True)) == {"kept", "before"}


@pytest.mark.parametrize("turn", [1, 2])
def test_what_follows_a_commit_runs_for_the_test_that_asked(
    turn, django_capture_on_commit_callbacks
):
    HOOKS.clear()
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic(durable=True):
        transaction.on_commit(lambda: HOOKS.append(turn))
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        transaction.on_commit(lambda: HOOKS.append("undone"))
        _ = turn / 0
    with django_capture_on_commit_callbacks(execute=True):
        pass
    assert [turn] == HOOKS


def test_every_test_of_the_module_finds_the_rows():
    assert Group.objects.filter(name="kept").exists()
    assert connection.in_atomic_block


@pytest.mark.django_db(transaction=True)
def commits():
    """Not collected, as the two below."""


@pytest.mark.postgres
def on_postgresql(db):
    pass


def on_both(database):
    pass


@pytest.mark.parametrize("apart", [commits, on_postgresql, on_both])
def test_what_commits_or_wants_another_database_cannot_share(request, apart):
    module = request.node.parent
    assert not shares(pytest.Function.from_parent(module, name=apart.__name__, callobj=apart))
    assert shares(request.node)
