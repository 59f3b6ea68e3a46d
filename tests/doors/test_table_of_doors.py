"""Which test closes which door for which promise: a table that names tests that are there.

Through a door without a test nothing can be done that the promise is about, or it is another door
over again; the table says which.
"""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOORS = ("api", "page", "table", "worker", "admin", "older rows")
ADMIN = "studio/test_admin.py::test_rows_are_shown_and_none_is_added_changed_or_deleted"
HELD, WAY_OUT = "doors/test_held_lots_stay.py", "doors/test_own_way_out.py"
OUT, BY_HAND = "doors/test_no_more_out_than_in.py", "doors/test_days_by_hand.py"
JUDGED, COSTS = "recipes/services/bench/test_judging.py", "doors/test_unknown_costs.py"
VALUES, UNUSUAL = "doors/test_values_that_change.py", "doors/test_unusual_certificates.py"
CURRENT, WORST = "test_current_version.py", "doors/test_worst_superfat.py"
TRIALS, DOWN = "doors/test_trials_are_not_sold.py", "doors/test_alkali_rounds_down.py"
FOUND = "doors/test_counts_make_nothing.py"
DECIDE, PACKED = "doors/test_owners_decide.py", "doors/test_held_bars_are_not_packed.py"
PARTS = "doors/test_contradicting_certificates.py"
TABLES = "inventory/services/exchange/test_held_lots.py"
NO_OLDER = "none: there are no rows of before"

#: A cell is a test by its file and name, or says after "none: " why there is no such door.
TABLE = {
    "what is held is not used": {
        "api": f"{HELD}::test_no_request_takes_some_of_a_held_lot",
        "page": f"{HELD}::test_no_page_takes_some_of_a_held_lot",
        "table": "none: tables take nothing out of a lot",
        "worker": "none: tasks give back stock and take none",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "unsafe soap goes into a rebatch only by name, which is held in turn": {
        "api": f"{HELD}"
        "::test_an_owner_may_name_unsafe_soap_alone_for_a_batch_which_hands_its_hold_on",
        "page": f"{HELD}::test_no_page_takes_a_held_lot_by_name_but_unsafe_soap_from_an_owner",
        "table": "none: tables make no batches",
        "worker": "none: tasks make no batches",
        "admin": ADMIN,
        "older rows": "inventory/services/stock/test_rebatch.py"
        "::test_what_is_found_unsafe_after_the_reservation_is_used_only_where_it_is_chosen",
    },
    "a hold is lifted by its own verb alone": {
        "api": f"{WAY_OUT}::test_each_hold_is_lifted_by_its_own_verb_alone",
        "page": f"{WAY_OUT}::test_each_hold_is_lifted_by_its_own_verb_alone",
        "table": f"{WAY_OUT}::test_each_hold_is_lifted_by_its_own_verb_alone",
        "worker": f"{WAY_OUT}::test_each_hold_is_lifted_by_its_own_verb_alone",
        "admin": f"{WAY_OUT}::test_each_hold_is_lifted_by_its_own_verb_alone",
        "older rows": "inventory/services/stock/test_holds.py"
        "::test_the_proof_finds_a_state_that_no_hold_says",
    },
    "an owner alone decides over unsafe soap": {
        "api": f"{DECIDE}::test_an_owner_alone_decides_by_whatever_door",
        "page": f"{DECIDE}::test_an_owner_alone_decides_by_whatever_door",
        "table": f"{TABLES}::test_no_table_turns_what_was_found_into_a_hold_by_hand",
        "worker": f"{DECIDE}::test_an_owner_alone_decides_by_whatever_door",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "bars held beside their cure are not packed": {
        "api": f"{PACKED}::test_no_door_packs_bars_that_something_holds_beside_their_cure",
        "page": f"{PACKED}::test_no_door_packs_bars_that_something_holds_beside_their_cure",
        "table": "none: tables finish no batches",
        "worker": "none: tasks finish no batches",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "a table weakens no cause": {
        "api": "none: a table that the API takes in is judged by the worker that takes it in",
        "page": f"{HELD}::test_no_table_takes_in_as_less_what_is_held_here",
        "table": f"{TABLES}::test_no_table_turns_what_was_found_into_a_hold_by_hand",
        "worker": f"{TABLES}::test_what_holds_a_lot_goes_out_and_comes_into_another_studio",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "what turns unsafe is held": {
        "api": f"{VALUES}::test_poured_soap_is_held_by_whatever_door_the_value_came",
        "page": f"{VALUES}::test_poured_soap_is_held_by_whatever_door_the_value_came",
        "table": f"{VALUES}::test_poured_soap_is_held_by_whatever_door_the_value_came",
        "worker": f"{JUDGED}::test_many_batches_are_judged_by_workers_at_once",
        "admin": ADMIN,
        "older rows": f"{JUDGED}"
        "::test_a_certificate_that_comes_later_holds_what_is_made_and_tells_once",
    },
    "an unusual certificate is confirmed": {
        "api": f"{UNUSUAL}::test_the_api_asks_once_for_a_value_and_again_for_another",
        "page": f"{UNUSUAL}::test_every_door_asks_and_keeps_who_confirmed",
        "table": f"{UNUSUAL}::test_every_door_asks_and_keeps_who_confirmed",
        "worker": "none: tasks state no certificate but that of a table, which is its own door",
        "admin": ADMIN,
        "older rows": "none: what was stated before stays, and is told where a batch reserves it",
    },
    "what contradicts the parts of a made lot is confirmed by an owner": {
        "api": f"{PARTS}::test_every_door_leaves_weaker_lye_to_an_owner_who_confirms_it",
        "page": f"{PARTS}::test_every_door_leaves_weaker_lye_to_an_owner_who_confirms_it",
        "table": f"{PARTS}::test_every_door_leaves_weaker_lye_to_an_owner_who_confirms_it",
        "worker": "none: tasks state no certificate but that of a table, which is its own door",
        "admin": ADMIN,
        "older rows": f"{PARTS}::test_an_older_row_is_told_on_its_page_and_left_to_an_owner",
    },
    "a superfat below zero at its worst is accepted by name": {
        "api": f"{WORST}::test_the_api_asks_with_the_figure_and_keeps_who_accepts_it",
        "page": f"{WORST}::test_the_page_of_a_batch_shows_the_box_where_it_asks",
        "table": "none: tables reserve and pour nothing",
        "worker": "none: tasks reserve and pour nothing; what is made for a batch is its own door",
        "admin": ADMIN,
        "older rows": f"{WORST}"
        "::test_what_was_reserved_before_anybody_asked_is_asked_about_at_the_pour",
    },
    "an alkali is corrected by an owner alone": {
        "api": f"{VALUES}::test_an_owner_alone_corrects_an_alkali_and_says_why",
        "page": f"{VALUES}::test_an_owner_alone_corrects_an_alkali_and_says_why",
        "table": f"{VALUES}::test_an_owner_alone_corrects_an_alkali_and_says_why",
        "worker": "none: tasks keep no material but those of a table, which is its own door",
        "admin": ADMIN,
        "older rows": "none: a correction is made now, whatever the age of the material",
    },
    "alkali is never weighed beyond what was asked for": {
        "api": f"{DOWN}::test_no_door_plans_more_alkali_than_the_fats_ask_for",
        "page": f"{DOWN}::test_no_door_plans_more_alkali_than_the_fats_ask_for",
        "table": "none: tables plan no batches",
        "worker": "none: tasks plan no batches",
        "admin": ADMIN,
        "older rows": f"{DOWN}::test_a_coarser_scale_than_planned_on_is_told_at_every_door",
    },
    "what happened is not to come, nor before its lot was there": {
        "api": "doors/test_facts_have_days.py"
        "::test_every_door_refuses_a_day_to_come_and_one_before_the_lot_was_there",
        "page": f"{BY_HAND}::test_no_page_takes_a_day_to_come_and_each_takes_today_or_before",
        "table": f"{BY_HAND}::test_no_table_takes_in_a_lot_of_a_day_to_come",
        "worker": "none: what tasks enter is of the day on which they run",
        "admin": ADMIN,
        "older rows": "inventory/services/receiving/test_receipt_day.py"
        "::test_what_was_refused_before_is_entered_once_the_day_is_corrected",
    },
    "nothing weighs more out than in": {
        "api": f"{OUT}::test_no_door_takes_more_out_than_went_in",
        "page": f"{OUT}::test_no_door_takes_more_out_than_went_in",
        "table": "none: tables neither pour nor cut",
        "worker": "none: tasks neither weigh, pour nor cut",
        "admin": ADMIN,
        "older rows": "recipes/services/cure/test_proof.py::test_a_cut_above_its_pour_is_named",
    },
    "a count makes nothing": {
        "api": f"{FOUND}::test_no_door_counts_soap_or_bars_to_more_than_were_made",
        "page": f"{FOUND}::test_no_door_counts_soap_or_bars_to_more_than_were_made",
        "table": "none: tables count nothing",
        "worker": "none: tasks count nothing",
        "admin": ADMIN,
        "older rows": "inventory/services/counting/test_made.py"
        "::test_what_was_counted_too_high_before_is_counted_down_and_no_higher",
    },
    "what a cost is not known of is never 0": {
        "api": f"{COSTS}"
        "::test_what_nobody_said_is_null_in_every_answer_and_not_known_on_every_page",
        "page": f"{COSTS}"
        "::test_what_nobody_said_is_null_in_every_answer_and_not_known_on_every_page",
        "table": f"{COSTS}::test_what_nobody_said_is_an_empty_cell_of_a_table",
        "worker": "none: what if is worked out by the question that the API asks, and kept as told",
        "admin": ADMIN,
        "older rows": "costing/services/bar_cost/test_late_rates.py"
        "::test_what_is_made_of_it_is_not_known_either_until_it_is_entered",
    },
    "every change names who made it": {
        "api": "studio/web/test_doers.py::test_a_token_names_its_account",
        "page": "studio/web/test_doers.py::test_a_session_names_its_account",
        "table": "inventory/services/exchange/test_lots.py"
        "::test_a_row_is_received_through_the_ledger",
        "worker": "studio/web/test_doers.py::test_every_scheduled_task_acts_as_the_schedule",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "a trial is not followed": {
        "api": f"recipes/api/formulas/{CURRENT}"
        "::test_plans_follow_the_current_version_and_a_batch_may_name_a_trial",
        "page": f"recipes/pages/formulas/{CURRENT}"
        "::test_pages_tell_the_current_version_from_a_trial",
        "table": "recipes/services/exchange/test_formulas.py"
        "::test_a_change_becomes_the_next_version_and_the_old_one_stays",
        "worker": "none: what if is worked out by the question that the API asks",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "bars of a trial are not sold as the product": {
        "api": f"{TRIALS}"
        "::test_no_door_takes_bars_of_a_trial_until_they_are_released_with_a_reason",
        "page": "none: pages of orders and shipments ask the services that the API asks",
        "table": "none: tables sell nothing",
        "worker": "none: what a released batch gives to orders is asked of its lot's state",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
    "a price keeps to its floor or an owner answers for it": {
        "api": f"{COSTS}::test_an_order_keeps_to_its_floor_as_a_quote_does",
        "page": f"{COSTS}::test_an_order_keeps_to_its_floor_as_a_quote_does",
        "table": "none: tables take no orders",
        "worker": "none: tasks take no orders",
        "admin": ADMIN,
        "older rows": NO_OLDER,
    },
}
CELLS = [(promise, door) for promise in TABLE for door in DOORS]


def named_in(file: Path) -> set[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_each_promise_has_a_cell_for_each_door():
    assert all(tuple(cells) == DOORS for cells in TABLE.values())


@pytest.mark.parametrize(("promise", "door"), CELLS)
def test_each_cell_names_a_test_that_is_there_or_says_why_none(promise, door):
    cell = TABLE[promise][door]
    if cell.startswith("none: "):
        return
    file, _, name = cell.partition("::")
    assert name in named_in(ROOT / "tests" / file)
