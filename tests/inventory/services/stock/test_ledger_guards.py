"""What the database itself refuses, whoever writes: on SQLite and on PostgreSQL."""

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.stock.ledger import Change, Verb, breaks_verb
from inventory.models.stock.ledger import MESSAGE, StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from tests.inventory.making import KG, make_lot, make_material

#: All drawings go into one lot: every insert is undone, so one database serves all of them.
drawn = settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
signed = st.integers(-3, 3) | st.integers(-(10**15), 10**15)


@pytest.fixture
def lot(database):
    return make_lot(make_material(), 5 * KG, 500)


def run(sql, *params):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)


class Undone(Exception):
    """Raised once an entry was let in, so that it is not kept."""


def database_refuses(lot, change):
    try:
        with transaction.atomic():
            StockEntry.objects.create(
                lot=lot,
                verb=change.verb.value,
                on_hand=change.on_hand,
                reserved=change.reserved,
                cost=change.cost,
            )
            raise Undone
    except Undone:
        return False
    except IntegrityError:
        return True


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE inventory_stockentry SET on_hand = on_hand + 1",
        "UPDATE inventory_stockentry SET note = 'better'",
        "UPDATE inventory_stockentry SET at = at",
        "DELETE FROM inventory_stockentry",
        "DELETE FROM inventory_stockentry WHERE cost = 500",
    ],
)
def test_an_entry_is_never_changed_or_deleted(lot, sql):
    before = list(StockEntry.objects.values())
    with pytest.raises(DatabaseError, match=MESSAGE):
        run(sql)
    assert list(StockEntry.objects.values()) == before


@pytest.mark.postgres
def test_the_ledger_is_not_emptied_at_once(transactional_db):
    """TRUNCATE runs no row triggers; SQLite has no such statement."""
    make_lot(make_material(), KG)
    with pytest.raises(DatabaseError, match=MESSAGE):
        run("TRUNCATE inventory_stockentry CASCADE")
    assert StockEntry.objects.exists()


def test_the_rows_of_django_are_refused_too(lot):
    entry = lot.entries.get()
    for act in (entry.save, entry.delete, lot.entries.all().delete):
        with pytest.raises(DatabaseError, match=MESSAGE), transaction.atomic():
            act()


def test_an_insert_does_not_replace_an_entry(lot):
    """SQLite's REPLACE deletes the old row, and its DELETE triggers do not see that."""
    entry = lot.entries.get()
    replace = {
        "sqlite": "INSERT OR REPLACE INTO inventory_stockentry "
        '(id, posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at) '
        'SELECT id, posting, lot_id, verb, on_hand + 1, reserved, cost, reference, note, "on", at '
        "FROM inventory_stockentry",
        "postgresql": "INSERT INTO inventory_stockentry "
        '(id, posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at) '
        'SELECT id, posting, lot_id, verb, on_hand + 1, reserved, cost, reference, note, "on", at '
        "FROM inventory_stockentry ON CONFLICT (id) DO UPDATE SET on_hand = excluded.on_hand",
    }[connection.vendor]
    with pytest.raises(DatabaseError, match=MESSAGE):
        run(replace)
    assert lot.entries.get().on_hand == entry.on_hand


@pytest.mark.parametrize(
    "sets",
    [
        "reserved = on_hand + 1",
        "reserved = -1",
        "on_hand = -1",
        "cost = -1",
        "on_hand = 0",
        "reserved = 1, on_hand = 0, cost = 0",
    ],
)
def test_a_balance_against_the_laws_is_refused(lot, sets):
    with pytest.raises(IntegrityError):
        run(f"UPDATE inventory_lot SET {sets}")
    fresh = Lot.objects.get()
    assert (fresh.on_hand, fresh.reserved, fresh.cost) == (5 * KG, 0, 500)


def test_the_check_on_entries_is_the_table_of_rules_for_every_sign(lot):
    """All 27 signs of every verb, and the edge where more is taken from reserved than at all."""
    signs = [-1, 0, 1]
    changes = [
        Change(verb, on_hand=on_hand, reserved=reserved, cost=cost)
        for verb in Verb
        for on_hand in (-2, *signs)
        for reserved in signs
        for cost in signs
    ]
    assert [c for c in changes if database_refuses(lot, c)] == [
        c for c in changes if breaks_verb(c)
    ]


@pytest.mark.parametrize("verb", Verb)
def test_the_check_on_entries_is_the_table_of_rules(lot, verb):
    @drawn
    @given(st.builds(Change, st.just(verb), on_hand=signed, reserved=signed, cost=signed))
    def agree(change):
        assert database_refuses(lot, change) == breaks_verb(change)

    agree()


def test_a_verb_that_is_none_is_refused(lot):
    with pytest.raises(IntegrityError), transaction.atomic():
        StockEntry.objects.create(lot=lot, verb="wish", on_hand=1)


def test_nothing_is_posted_or_locked_outside_a_transaction(lot):
    with pytest.raises(RuntimeError):
        post([(lot.pk, Change(Verb.RESERVE, reserved=1))], lots={}, origin=Origin(reference="x"))
    with pytest.raises(RuntimeError):
        lock_lots([lot.pk])
