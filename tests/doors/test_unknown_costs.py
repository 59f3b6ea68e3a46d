"""What nobody said the rate of is not known through any door, and never 0.

A studio without a rate of labor or overhead makes bars, quotes and sells them. Whatever its labor
would be part of says null, and beside it what is known at least; a rate of 0 is an answer.
"""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

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
PAGES = ("/batches/{batch}/cost/", "/prices/plain/product/", "/quotes/{quote}/", "/prices/profit/")
LINE = {"product": "plain", "quantity": 2, "bars_per_carton": 12}


def made_and_sold(*, rates=()):
    """The codes of a batch that is cured and sold in part, and of a quote."""
    for kind in rates:
        make_rate(kind, 0, since=LONG_AGO)
    shop, today = make_shop(bench=make_bench()), timezone.localdate()
    poured_on = today - timedelta(days=50)
    stock(shop.bench, received_on=poured_on)
    batch = planned(shop.bench, on=poured_on).code
    reserve_batch(batch)
    owner = Caller("owner")
    owner.done(f"batches/{batch}/pour/", {"minutes": 60, "on": str(poured_on)})
    owner.done(f"batches/{batch}/cut/", {"bars_good": 8, "on": str(poured_on)})
    owner.done(f"batches/{batch}/cure/", {"minutes": 10})
    order = {"customer": "corner", "lines": [LINE], "plan": False}
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
    notes = " ".join(reader.seen(f"batches/{codes['batch']}/variances/")["notes"])
    assert "Labor: What it cost is not known" in notes
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
