"""Each truth has one gate: who writes entries, balances, holds and states, and who judges soap."""

import ast
import itertools
import re

import pytest

from tests.architecture.tree import sources

LEDGER = "inventory/services/stock/ledger.py"
HOLDS = "inventory/services/stock/holds.py"
LYE = "recipes/domain/chemistry/lye.py"
SAFETY = "recipes/domain/chemistry/safety.py"
WORST = "recipes/services/chemistry/worst_superfat.py"
#: What a row of a lot is called.
LOTS = {"lot", "bars", "ends", "poured", "bar_lot", "poured_lot", "ends_lot", "lots", "row"}
WRITING = {"create", "bulk_create", "get_or_create", "update_or_create", "update", "bulk_update"}
WRITING |= {"delete", "add", "set", "remove"}
STATE, BALANCES = {"state", "state_reason"}, {"on_hand", "reserved", "cost"}


def found(looks, *, but):
    """Where in the product something is written or judged, save in the one file that may."""
    return [
        f"{source.name}:{node.lineno}"
        for source in sources()
        if source.name != but
        for node in source.nodes
        if looks(node)
    ]


def seen_in(text, looks):
    return any(looks(node) for node in ast.walk(ast.parse(text)))


def written(node):
    """The names of what a statement sets, each with the row it is set on ("batch.bar_lot")."""
    if isinstance(node, ast.AugAssign | ast.AnnAssign):
        targets = [node.target]
    else:
        targets = node.targets if isinstance(node, ast.Assign) else []
    for target in targets:
        for each in target.elts if isinstance(target, ast.Tuple) else [target]:
            if isinstance(each, ast.Attribute):
                yield ast.unparse(each.value), each.attr


def called_on(node, model, related=""):
    """The method of a model's rows that is called, or of a relation to them; "" for another."""
    if not isinstance(node, ast.Call):
        return ""
    name = ast.unparse(node.func)
    if name == model:
        return "create"
    on_rows = name.startswith(f"{model}.objects.") or (related and f".{related}." in name)
    return name.rpartition(".")[2] if on_rows else ""


def in_sql(node, pattern):
    return (
        isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and re.search(pattern, node.value) is not None
    )


def writes_an_entry(node):
    return called_on(node, "StockEntry", "entries") in WRITING or in_sql(
        node, r"(INSERT INTO|UPDATE|DELETE FROM) inventory_stockentry\b"
    )


def writes_a_hold(node):
    return called_on(node, "Hold", "holds") in WRITING or in_sql(
        node, r"(INSERT INTO|UPDATE|DELETE FROM) inventory_hold\b"
    )


def accepts_a_worst(node):
    return called_on(node, "AcceptedWorst", "accepted_worst") in WRITING or in_sql(
        node, r"(INSERT INTO|UPDATE|DELETE FROM) recipes_acceptedworst\b"
    )


def writes_of_lots(names, columns):
    """Whether a node sets one of these columns of a lot, or writes them by SQL."""

    def looks(node):
        if in_sql(node, rf"UPDATE inventory_lot SET[^;]*\b({columns})\b"):
            return True
        if called_on(node, "Lot", "lots") in WRITING:
            given = {each.arg for each in node.keywords}
            listed = {each.value for each in ast.walk(node) if isinstance(each, ast.Constant)}
            return bool(names & (given | listed))
        return any(
            attribute in names and row.rpartition(".")[2].split("[")[0] in LOTS
            for row, attribute in written(node)
        )

    return looks


writes_a_state = writes_of_lots(STATE, "state|state_reason")
writes_a_balance = writes_of_lots(BALANCES, "on_hand|reserved|cost")


def compared(node):
    """The words on each side of a comparison, with whether the other side is zero."""
    if isinstance(node, ast.Compare) and isinstance(
        node.ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE
    ):
        sides = [ast.unparse(each) for each in (node.left, *node.comparators)]
        yield from itertools.pairwise(sides)


def judges_lye(node):
    """A superfat beside zero, whichever way round; that it is above all of the demand is no lye."""
    zero = {"0", "ZERO", "Decimal(0)", "D(0)", "lye.ZERO"}
    return any(
        re.search(r"superfat|worst", one + other) and zero & {one, other}
        for one, other in compared(node)
    )


def judges_a_limit(node):
    """A share beside the most that a certificate allows."""
    most = r"\bmaximum\b|\bmaxima\b|ifra_category9_max"
    return any(
        re.search(most, one) is not None or re.search(most, other) is not None
        for one, other in compared(node)
        if not one.isdigit() and not other.isdigit()
    )


def test_only_the_ledger_service_writes_entries_and_balances():
    assert not found(writes_an_entry, but=LEDGER)
    assert not found(writes_a_balance, but=LEDGER)


def test_only_the_hold_service_writes_holds_and_the_state_of_lots():
    assert not found(writes_a_hold, but=HOLDS)
    assert not found(writes_a_state, but=HOLDS)


def test_only_one_service_accepts_a_worst_superfat():
    assert not found(accepts_a_worst, but=WORST)


def test_only_one_function_says_what_is_lye_heavy():
    assert not found(judges_lye, but=LYE)
    assert sum(source.text.count("superfat < 0") for source in sources()) == 1


def test_only_one_function_says_what_is_above_its_limit():
    assert not found(judges_a_limit, but=SAFETY)
    (judge,) = [
        function.name
        for source in sources()
        if source.name == SAFETY
        for function in source.functions()
        if any(judges_a_limit(node) for node in ast.walk(function))
    ]
    assert judge == "is_over"


WRITERS = [
    (writes_an_entry, "StockEntry(lot=lot)"),
    (writes_an_entry, "StockEntry.objects.bulk_create(rows)"),
    (writes_an_entry, "lot.entries.create(on_hand=1)"),
    (writes_an_entry, "StockEntry.objects.filter(lot=lot).update(cost=0)"),
    (writes_an_entry, "sql = 'DELETE FROM inventory_stockentry'"),
    (writes_a_balance, "lot.on_hand -= 1"),
    (writes_a_balance, "lots[pk].reserved = 0"),
    (writes_a_balance, "batch.bar_lot.cost = 0"),
    (writes_a_balance, "lot.on_hand, lot.reserved = 0, 0"),
    (writes_a_balance, "Lot(material=oil, on_hand=5)"),
    (writes_a_balance, "Lot.objects.filter(pk=1).update(on_hand=F('on_hand') - 1)"),
    (writes_a_balance, "Lot.objects.bulk_update(lots, ['on_hand', 'cost'])"),
    (writes_a_balance, "sql = 'UPDATE inventory_lot SET reserved = 0'"),
    (writes_a_hold, "Hold(lot=lot)"),
    (writes_a_hold, "Hold.objects.create(lot=lot)"),
    (writes_a_hold, "Hold.objects.filter(lot=lot).update(lifted_at=now)"),
    (writes_a_hold, "Hold.objects.all().delete()"),
    (writes_a_hold, "lot.holds.filter(pk=1).update(lifted_at=now)"),
    (writes_a_hold, "lot.holds.create(cause='cure')"),
    (writes_a_hold, "sql = 'INSERT INTO inventory_hold (lot_id) VALUES (1)'"),
    (writes_a_state, "lot.state = 'released'"),
    (writes_a_state, "batch.bar_lot.state = 'released'"),
    (writes_a_state, "lot.state_reason = ''"),
    (writes_a_state, "Lot.objects.filter(pk=1).update(state='released')"),
    (writes_a_state, "Lot.objects.bulk_update(lots, ['state'])"),
    (writes_a_state, "Lot(state='released')"),
    (writes_a_state, "sql = 'UPDATE inventory_lot SET state = %s'"),
    (accepts_a_worst, "AcceptedWorst(version=version)"),
    (accepts_a_worst, "AcceptedWorst.objects.bulk_create(rows)"),
    (accepts_a_worst, "version.accepted_worst.all().delete()"),
    (accepts_a_worst, "sql = 'DELETE FROM recipes_acceptedworst'"),
    (judges_lye, "if check.superfat < 0: pass"),
    (judges_lye, "safe = batch.worst_superfat >= ZERO"),
    (judges_lye, "heavy = 0 > superfat"),
    (judges_lye, "if demand.superfat_with(pure) < 0: pass"),
    (judges_a_limit, "if found.share > found.maximum: pass"),
    (judges_a_limit, "ok = share <= lot.ifra_category9_max"),
]


@pytest.mark.parametrize(("looks", "text"), WRITERS)
def test_each_way_around_a_gate_is_found(looks, text):
    assert seen_in(text, looks)
