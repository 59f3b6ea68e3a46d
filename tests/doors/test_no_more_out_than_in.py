"""Nothing weighs more out than in: of a pour, a blend, a cut, or of what comes back.

The scale may be off at each weighing, so a gram or two are no fault; what is sent here is far more.
"""

import pytest
from django.db import transaction

from tests.doors.held_studio import WeighedStudio, nothing_of_stock_changes


@pytest.fixture
def studio(database):
    return WeighedStudio()


def doors(studio):
    """What is asked, with how much at most: (ask, code of the fault, a value that is no fault)."""
    into, poured = studio.mass(studio.reserved), studio.mass(studio.poured)
    cut = {"bars_good": 8, "reason": "weighed"}
    back = {"reason": "dented"}
    sale = {**back, "shipment": studio.sale, "line": 1}
    day = str(studio.today)
    api, page = studio.owner.post, studio.page
    batch, soap = f"batches/{studio.reserved}", f"batches/{studio.poured}"
    form = {"on": day, "bars_good": "8", "bars_rejected": "0", "reason": "weighed"}
    return {
        "pour": (into, lambda n: api(f"{batch}/pour/", {"poured": f"{n} g"})),
        "pour page": (into, lambda n: page(f"/{batch}/pour/", on=day, poured=f"{n} g")),
        "cut": (poured, lambda n: api(f"{soap}/cut/", {**cut, "good_weight": f"{n} g"})),
        "cut, ends": (
            poured - 400,
            lambda n: api(f"{soap}/cut/", {**cut, "good_weight": "400 g", "ends_weight": f"{n} g"}),
        ),
        "cut page": (poured, lambda n: page(f"/{soap}/cut/", **form, good_weight=f"{n} g")),
        "return": (
            3,
            lambda n: api(
                f"shipments/{studio.shipment}/return/",
                {**back, "lines": [{"lot": studio.bars, "amount": f"{n} each"}]},
            ),
        ),
        "return of an order": (
            5,
            lambda n: api(f"sales-orders/{studio.holding}/return/", {**sale, "bars": n}),
        ),
        "return page of an order": (
            5,
            lambda n: page(
                f"/orders/{studio.holding}/back/",
                sent=f"{studio.sale}:1",
                bars=n,
                reason="dented",
                returned_on=day,
            ),
        ),
    }


def test_no_door_takes_more_out_than_went_in(studio):
    for name, (most, ask) in doors(studio).items():
        with nothing_of_stock_changes():
            answer = ask(most * 11 // 10 + 1)
        assert 400 <= answer.status_code < 500, (name, answer.status_code, answer.content)
        with transaction.atomic():
            answer = ask(most * 99 // 100)
            assert answer.status_code in (200, 201, 303), (name, answer.content)
            transaction.set_rollback(True)


def test_what_was_weighed_at_the_bench_before_counts_at_the_pour(studio):
    """The weight of the batter may be kept first, and is judged when it becomes a lot."""
    batch, most = f"batches/{studio.reserved}", studio.mass(studio.reserved)
    studio.owner.done(f"{batch}/record/", {"poured": f"{2 * most} g"})
    with nothing_of_stock_changes():
        refused = studio.owner.post(f"{batch}/pour/", {})
    assert refused.status_code == 422 and "More came out" in refused.content.decode()
