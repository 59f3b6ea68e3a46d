"""What nobody said the rate, the time or the packing of is not known through any door, and never 0.

A studio without a rate of labor or overhead, or where nobody tells how long labor takes or how bars
are packed, makes bars, quotes and sells them. Whatever that would be part of says null, and beside
it what is known at least; a rate, a time or a packing of nothing is an answer.
"""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from costing.models.prices.prices import PriceEntry, Product
from costing.models.rates.rates import RateKind
from recipes.services.bench.batches import reserve_batch
from tests.costing.making import make_rate
from tests.costing.sales_making import LONG_AGO, make_shop
from tests.inventory.api.calls import Caller as Reader
from tests.read_pages import read
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

KINDS = (RateKind.LABOR_HOUR, RateKind.OVERHEAD_BATCH, RateKind.OVERHEAD_LABOR_HOUR)
#: By the address, the members that labor is part of, from the top of the answer.
ANSWERS = {
    "batches/{batch}/cost/": ("total", "by_kind.labor", "by_kind.overhead"),
    "products/plain/cost/": ("actual", "replacement"),
    "price-ladder/?product=plain": (
        *("cost_actual", "cost_replacement", "tiers.0.floor", "tiers.0.wanted"),
    ),
    "price-suggestions/?product=plain": ("suggestions.0.price", "suggestions.0.floor"),
    "quotes/{quote}/": (
        *("lines.0.cost_actual", "lines.0.cost_replacement", "lines.0.floor"),
        *("lines.0.margin_actual", "lines.0.margin_replacement"),
    ),
    "formulas/plain/cost-spread/": ("molds.0.mean", "molds.0.median"),
    "formulas/plain/mold-costs/": (
        *("molds.0.total", "molds.0.per_bar", "molds.0.by_kind.labor"),
        "molds.0.by_kind.overhead",
    ),
    "profit/": ("total.cost_of_goods", "total.gross_margin", "total.contribution"),
}
ROW = {
    **{f"lines-{name}": value for name, value in (("TOTAL_FORMS", 1), ("INITIAL_FORMS", 0))},
    **{f"lines-0-{name}": value for name, value in (("product", "plain"), ("quantity", 2))},
    "lines-0-bars_per_carton": 12,
}
PAGES = ("/batches/{batch}/cost/", "/prices/plain/product/", "/quotes/{quote}/", "/prices/profit/")
#: What becomes of the same where somebody said what nobody says here: rates, times, packing.
PAID = {"rates": KINDS, "each": 10_000}
LINE = {"product": "plain", "quantity": 2, "bars_per_carton": 12}


def made_and_sold(*, rates=(), each=0, stated=90, minutes=(60, 0, 10), packed=True):
    """The codes of a batch that is cured and sold in part, and of a quote.

    `stated` is what the recipe says it takes, `minutes` what is told at the bench.
    """
    for kind in rates:
        make_rate(kind, each, since=LONG_AGO)
    shop, today = make_shop(bench=make_bench(minutes=stated)), timezone.localdate()
    PriceEntry.objects.update(floor=None)
    if not packed:
        Product.objects.update(needs_no_packing=False)
    poured_on = today - timedelta(days=50)
    stock(shop.bench, received_on=poured_on)
    batch = planned(shop.bench, on=poured_on).code
    reserve_batch(batch)
    owner = Caller("owner")
    mix, cut, wrap = ({} if each is None else {"minutes": each} for each in minutes)
    owner.done(f"batches/{batch}/pour/", {**mix, "on": str(poured_on)})
    owner.done(f"batches/{batch}/cut/", {**cut, "bars_good": 8, "on": str(poured_on)})
    owner.done(f"batches/{batch}/cure/", wrap)
    order = {"customer": "corner", "lines": [LINE], "plan": False, "override_reason": "A fair"}
    sold = owner.made("sales-orders/", order)["code"]
    owner.made(f"sales-orders/{sold}/ship/", {})
    quote = owner.made("quotes/", {"customer": "corner", "lines": [LINE]})["code"]
    return {"batch": batch, "quote": quote}


def told(codes):
    """What each address says, by address and member."""
    reader, found = Reader("owner"), {}
    for address, members in ANSWERS.items():
        path, _, query = address.format(**codes).partition("?")
        answer = reader.seen(path, **dict(part.split("=") for part in query.split("&") if part))
        for member in members:
            value = answer
            for name in member.split("."):
                value = value[int(name)] if name.isdigit() else value[name]
            found[address, member] = value
    return found


def test_what_has_no_rate_is_null_in_every_answer_and_not_known_on_every_page(database):
    codes = made_and_sold()
    assert [value for value in told(codes).values() if value is not None] == []
    reader, client = Reader("owner"), Client()
    client.force_login(person("owner"))
    least = reader.seen(f"batches/{codes['batch']}/cost/")["at_least"]
    assert float(least["amount"]) > 0
    variances = reader.seen(f"batches/{codes['batch']}/variances/")
    assert "Labor: What it cost, or was to cost, is not known" in " ".join(variances["notes"])
    labor = next(each for each in variances["inputs"] if each["code"] == "labor")
    assert (labor["actual_cost"], labor["price"], labor["usage"]) == (None, None, None)
    sums = variances["sums"]
    assert (sums["labor_rate"], sums["labor_efficiency"], sums["total"]) == (None, None, None)
    assert sums["material_price"] is not None
    for page in PAGES:
        shown = read(client.get(page.format(**codes))).casefold()
        assert re.search("not (all )?known", shown), page


@pytest.mark.parametrize("left_out", [None, *KINDS])
def test_a_rate_of_nothing_is_an_answer_and_each_that_is_missing_counts(database, left_out):
    codes = made_and_sold(rates=[kind for kind in KINDS if kind is not left_out])
    unknown = {
        member for (address, member), value in told(codes).items()
        if value is None and address.startswith(("batches/", "products/"))
    }  # fmt: skip
    whole = {"total", "actual", "replacement"}
    if left_out is None:
        assert not unknown
    else:
        part = "by_kind.labor" if left_out is RateKind.LABOR_HOUR else "by_kind.overhead"
        assert unknown == {*whole, part}


#: What nobody says, which members are part of it, and what the pages say of it.
NOBODY_SAID = {
    "minutes": {"stated": None, "minutes": (None, None, None)},
    "minutes of the cut": {"stated": None, "minutes": (60, None, 10)},
    "packing": {"packed": False},
}
#: What packing is part of: a batch is known without it, and so is what the sold bars had cost.
PACKED = ("products/", "price-", "quotes/", "profit/:total.contribution")


@pytest.mark.parametrize("nobody", NOBODY_SAID)
def test_what_nobody_said_is_null_in_every_answer_and_not_known_on_every_page(database, nobody):
    codes = made_and_sold(**PAID, **NOBODY_SAID[nobody])
    found = told(codes)
    for (address, member), value in found.items():
        part = nobody != "packing" or f"{address}:{member}".startswith(PACKED)
        assert (value is None) == part, (address, member)
    client = Client()
    client.force_login(person("owner"))
    pages = PAGES if nobody != "packing" else PAGES[1:]
    for page in pages:
        shown = read(client.get(page.format(**codes))).casefold()
        assert re.search("not (all )?known", shown), page


@pytest.mark.parametrize("stated", [None, 0, 90])
def test_minutes_of_nothing_are_an_answer_and_a_recipe_s_stand_in(database, stated):
    codes = made_and_sold(**PAID, stated=stated, minutes=(0, 0, 0))
    cost = Reader("owner").seen(f"batches/{codes['batch']}/cost/")
    assert cost["by_kind"]["labor"]["amount"] == "0.00"
    assert told(codes)["products/plain/cost/", "actual"] is not None


def test_a_recipe_s_time_stands_in_for_what_nobody_told_and_says_so(database):
    codes = made_and_sold(**PAID, stated=90, minutes=(60, None, None))
    cost = Reader("owner").seen(f"batches/{codes['batch']}/cost/")
    assert cost["by_kind"]["labor"]["amount"] == "1.50"  # 90 minutes at 1.00 an hour
    words = "Nobody told the minutes of cutting and wrapping: the time of the recipe stands in."
    assert words in cost["notes"]


def test_a_labor_standard_that_comes_late_tells_the_time_of_batches_since_its_day(database):
    codes = made_and_sold(**PAID, **NOBODY_SAID["minutes of the cut"])
    owner = Caller("owner")
    waiting = owner.get("late-rates/").json()["batches"]
    assert [(each["missing"], each["minutes_missing"]) for each in waiting] == [([], True)]
    owner.made("labor-standards/", {"effective_from": str(LONG_AGO), "cut_minutes": 20})
    assert len(owner.done("late-rates/", {"since": str(LONG_AGO)})["entered"]) == 1
    cost = Reader("owner").seen(f"batches/{codes['batch']}/cost/")
    assert cost["by_kind"]["labor"]["amount"] == "1.50"  # 60 + 20 + 10 minutes at 1.00 an hour


@pytest.mark.parametrize("door", ["API", "page"])
def test_an_order_keeps_to_its_floor_as_a_quote_does(database, door):
    made_and_sold(**PAID, packed=False)
    owner, maker = Caller("owner"), Caller("maker")
    order = {"customer": "corner", "lines": [LINE], "plan": False}
    if door == "API":
        refused = owner.post("sales-orders/", order)
        assert (refused.status_code, refused.json()["code"]) == (409, "order-under-floor")
        reason = {**order, "override_reason": "Opening week"}
        assert maker.post("sales-orders/", reason).status_code == 403
        made = owner.made("sales-orders/", reason)
        told_of_it = made["events"][0]["note"]
    else:
        client = Client()
        client.force_login(person("owner"))
        form = {"customer": "corner", "mode": "parts", "once": "first", **ROW}
        page = client.post("/orders/new/", form)
        assert page.status_code == 422 and "not all that a bar costs is known" in read(page)
        again = {**form, "once": "second", "override_reason": "Opening week"}
        answer = client.post("/orders/new/", again)
        assert answer.status_code == 303
        told_of_it = read(client.get(answer["Location"]))
    assert "Floor not known (line 1)" in told_of_it and "word: Opening week" in told_of_it


def test_what_nobody_said_is_an_empty_cell_of_a_table(database):
    made_and_sold(**PAID, **NOBODY_SAID["minutes"], packed=False)
    file = Caller("owner").client.get("/api/v1/profit.csv").content
    (row,) = csv.DictReader(io.StringIO(file.decode("utf-8-sig")))
    empty = ("cost_of_goods", "gross_margin", "packing", "selling_cost", "contribution")
    assert [row[name] for name in empty] == [""] * len(empty)
    assert (row["bars_not_known"], row["packing_not_known"]) == ("2", "2")
