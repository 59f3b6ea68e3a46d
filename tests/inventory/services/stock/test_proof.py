"""The proof finds whatever was altered behind the ledger's back, and names the lot."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from inventory.domain.stock.holds import Cause
from inventory.models.stock.ledger import ENTRIES
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.proof import CHECKS, prove_books
from inventory.services.stock.reservations import Holding, release, reserve
from tests.inventory.making import KG, TODAY, make_lot, make_material

LOT_CHECKS = ["lot_reserved_within_on_hand", "lot_cost_not_negative", "lot_empty_has_no_cost"]


@pytest.fixture
def shelf(database):
    """Two lots of oil, of which one is held in part, and a box of counted things."""
    oil, box = make_material("oil"), make_material("box", counted=True)
    lots = [
        make_lot(oil, 3 * KG, 300, code="first", best_before=TODAY + timedelta(days=9)),
        make_lot(oil, 3 * KG, 900, code="second"),
        make_lot(box, 24, 480_000, code="boxes"),
    ]
    held = reserve(Holding(needs={oil.pk: 2 * KG, box.pk: 4}, holder="batch:1", on=TODAY))
    gone = reserve(Holding(needs={oil.pk: KG}, holder="batch:2", on=TODAY))
    release(gone.reservation.pk)
    return {"lots": lots, "held": held.reservation, "gone": gone.reservation}


def run(sql, *params):
    with connection.cursor() as cursor:
        cursor.execute(sql, params)


def without_checks(sql):
    """Run `sql` as if the database had no CHECKs, as somebody with a database shell could."""
    if connection.vendor == "sqlite":
        run("PRAGMA ignore_check_constraints = ON")
        run(sql)
        run("PRAGMA ignore_check_constraints = OFF")
        return
    for name in LOT_CHECKS:
        run(f"ALTER TABLE inventory_lot DROP CONSTRAINT {name}")
    run("ALTER TABLE inventory_stockentry DROP CONSTRAINT entry_follows_verb")
    run(sql)


def proved():
    """What the command printed, and its refusal."""
    out = StringIO()
    try:
        call_command("prove", stdout=out)
    except CommandError as refused:
        return out.getvalue(), str(refused)
    return out.getvalue(), ""


def test_sound_books_are_proved(shelf):
    proof = prove_books()
    assert (proof.lots, proof.entries, proof.holds) == (3, 7, True)
    assert proved() == ("The books are proved: 3 lots, 7 entries, nothing differs.\n", "")


def test_empty_books_are_proved(database):
    assert proved() == ("The books are proved: 0 lots, 0 entries, nothing differs.\n", "")


def test_the_number_of_queries_does_not_depend_on_the_lots(shelf, django_assert_num_queries):
    # Five, and one each of the checks that apps add.
    with django_assert_num_queries(5 + len(list(CHECKS))):
        prove_books()


@pytest.mark.parametrize(
    ("sets", "lot", "said"),
    [
        ("on_hand = on_hand + 1", "second", "on hand is 3000.000000001 g on the row, 3000 g"),
        ("on_hand = on_hand - 1", "boxes", "on hand is 23 each on the row, 24 each by"),
        ("reserved = reserved - 1", "boxes", "reserved is 3 each on the row, 4 each by"),
        ("cost = cost + 5000", "boxes", "cost is 48.50 USD on the row, 48.00 USD by the books"),
        ("on_hand = 0, reserved = 0, cost = 0", "first", "reserved is 0 g on the row, 2000 g"),
    ],
)
def test_an_altered_balance_is_found(shelf, sets, lot, said):
    run(f"UPDATE inventory_lot SET {sets} WHERE code = %s", lot)
    assert {difference.lot for difference in prove_books().differences} == {lot}
    printed, refused = proved()
    assert f"Lot {lot}: {said}" in printed
    assert refused == f"The books differ for 1 of 3 lots: {lot}."


def test_all_lots_that_differ_are_named(shelf):
    run("UPDATE inventory_lot SET cost = cost + 1")
    assert proved()[1] == "The books differ for 3 of 3 lots: boxes, first, second."


@pytest.mark.parametrize(
    ("cause", "state", "by_holds"),
    [
        (Cause.BY_HAND, "released", "blocked"),
        (Cause.BY_HAND, "quarantine", "blocked"),
        (Cause.ARRIVAL, "blocked", "quarantine"),
        (None, "blocked", "released"),
    ],
)
def test_a_state_that_its_holds_do_not_say_is_found(shelf, cause, state, by_holds):
    lot = shelf["lots"][0]
    if cause is not None:
        hold_lot(lot.pk, reason="smells", cause=cause)
    assert not prove_books().differences
    run("UPDATE inventory_lot SET state = %s WHERE id = %s", state, lot.pk)
    (difference,) = prove_books().differences
    assert (difference.on_row, difference.in_books) == (state, by_holds)
    said = f"Lot {lot.code}: state, by its open holds, is {state} on the row, {by_holds} by the"
    assert said in proved()[0]


def test_an_altered_reservation_line_is_found(shelf):
    run(
        "UPDATE inventory_reservationline SET remaining = remaining - 1 "
        "WHERE reservation_id = %s AND amount = 4",
        shelf["held"].pk,
    )
    printed, refused = proved()
    assert "reserved, by open reservations is 4 each on the row, 3 each by the books" in printed
    assert refused.endswith(": boxes.")


def test_a_closed_reservation_that_holds_something_is_found(shelf):
    run(
        "UPDATE inventory_reservationline SET remaining = 5 WHERE reservation_id = %s",
        shelf["gone"].pk,
    )
    (difference,) = prove_books().differences
    assert (difference.lot, difference.on_row, difference.in_books) == ("first", 5, 0)
    assert difference.what == "held by closed reservations"


def test_a_reservation_closed_without_its_entries_is_found(shelf):
    run(
        "UPDATE inventory_reservation SET state = 'released', closed_at = created_at WHERE id = %s",
        shelf["held"].pk,
    )
    assert {difference.lot for difference in prove_books().differences} == {"boxes", "first"}


def test_an_entry_that_nobody_posted_is_found(shelf):
    run(
        "INSERT INTO inventory_stockentry "
        '(posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at) '
        'SELECT posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at '
        "FROM inventory_stockentry WHERE verb = 'receive' AND cost = 300"
    )
    assert {difference.lot for difference in prove_books().differences} == {"first"}


def test_a_deleted_entry_is_found(shelf):
    ENTRIES.take_off(connection)
    run("DELETE FROM inventory_stockentry WHERE cost = 900")
    ENTRIES.put_on(connection)
    assert {difference.lot for difference in prove_books().differences} == {"second"}


@pytest.mark.parametrize(
    ("on_hand", "reserved", "cost", "law"),
    [
        (-1, 0, 0, "reserved is within what is on hand"),
        (0, 0, 7, "an empty lot has no cost"),
        (5, 0, -7, "cost is not below zero"),
        (5, -1, 7, "reserved is not below zero"),
    ],
)
def test_a_balance_against_the_laws_is_found_though_its_entries_agree(
    shelf, on_hand, reserved, cost, law
):
    """Entry and row tell the same, so only the laws can tell that it cannot be."""
    without_checks(
        "INSERT INTO inventory_stockentry "
        '(posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at) '
        f"SELECT posting, lot_id, verb, {on_hand} - on_hand, {reserved}, {cost} - cost, "
        'reference, note, "on", at FROM inventory_stockentry '
        "WHERE verb = 'receive' AND cost = 900"
    )
    without = (
        "UPDATE inventory_lot SET on_hand = {}, reserved = {}, cost = {} WHERE code = 'second'"
    )
    if connection.vendor == "sqlite":
        without_checks(without.format(on_hand, reserved, cost))
    else:
        run(without.format(on_hand, reserved, cost))
    found = prove_books().differences
    assert {difference.lot for difference in found} == {"second"}
    assert law in {difference.law for difference in found}
    printed, _ = proved()
    assert f"Lot second: the law '{law}' is broken" in printed
    assert "entries that break their verb is 1 on the row, 0 by the books" in printed
