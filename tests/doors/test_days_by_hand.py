"""Nothing that happened is still to come on pages and in tables either.

The days of the API stand in `test_facts_have_days`; the rule is the ledger's.
"""

from datetime import timedelta

import pytest
from django.db import transaction

from inventory.models.stock.lots import Lot
from tests.doors.held_studio import WeighedStudio, nothing_of_stock_changes


@pytest.fixture
def studio(database):
    return WeighedStudio()


def pages(studio):
    """The address of each, the name of its day, and what else is sent."""
    oil, why = f"/shelf/lots/{studio.oil}", {"reason": "weighed"}
    cut = {"bars_good": "8", "bars_rejected": "0", **why}
    return {
        "pour": (f"/batches/{studio.reserved}/pour/", "on", {}),
        "cut": (f"/batches/{studio.poured}/cut/", "on", cut),
        "count": (f"{oil}/count/", "counted_on", {"found": "4 kg"}),
        "write off": (f"{oil}/spoil/", "spoiled_on", {"amount": "1 kg", **why}),
        "hold": (f"{oil}/block/", "on", why),
        "came in": (f"{oil}/received-on/", "received_on", why),
        "ship an order": (f"/orders/{studio.half}/ship/", "shipped_on", {"bars_1": "2"}),
        "back of an order": (
            f"/orders/{studio.holding}/back/",
            "returned_on",
            {"sent": f"{studio.sale}:1", "bars": "2", **why},
        ),
    }


def test_no_page_takes_a_day_to_come_and_each_takes_today_or_before(studio):
    tomorrow = str(studio.today + timedelta(days=1))
    for name, (path, day, values) in pages(studio).items():
        with nothing_of_stock_changes():
            answer = studio.page(path, **values, **{day: tomorrow})
        assert answer.status_code == 422, (name, answer.status_code)
        if day == "received_on":  # what was used since is not corrected past its use
            continue
        with transaction.atomic():
            assert studio.page(path, **values, **{day: str(studio.today)}).status_code == 303, name
            transaction.set_rollback(True)


def test_no_table_takes_in_a_lot_of_a_day_to_come(studio):
    heads = "code,material,amount,cost,received_on\n"
    for days, there in ((1, False), (0, True)):
        day = studio.today + timedelta(days=days)
        run = studio.take_in(f"{heads}here-{days},olive,1 kg,5,{day}\n")
        assert [fault["column"] for fault in run.faults] == ["received_on"] * days
        assert Lot.objects.filter(code=f"here-{days}").exists() is there
