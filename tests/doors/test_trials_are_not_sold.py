"""Bars of a trial are not sold as the product through any door until somebody says so.

A version that nobody ever made current is tried out: its bars are a lot of the same material, and
held as a trial. Orders, shipments without one, and promises pass by them until somebody releases
them with a reason, or the version is made current.
"""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from costing.queries.orders.promises import Wanted, promise
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.stock.supplies import expected_makes
from recipes.models.bench.batches import Batch
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.exchange.formula_rows import spec_of
from recipes.services.formulas.formulas import add_version, make_current
from recipes.services.scaling.planning import plan_batch
from tests.costing.sales_making import make_shop
from tests.read_pages import read
from tests.recipes.api.calls import Caller
from tests.recipes.making import stock
from tests.studio.web.api.people import person

POURED = 50
LINES = [{"product": "plain", "quantity": 2, "bars_per_carton": 12}]
ORDER = {"customer": "corner", "lines": LINES, "plan": False}
SHIPMENT = {"customer": "Market (invented)"}


class Bench:
    """A shop with a trial of its recipe, and batches of it as far as they are asked for."""

    def __init__(self) -> None:
        self.shop, self.today = make_shop(), timezone.localdate()
        formula = self.shop.bench.formula
        stock(self.shop.bench, received_on=self.today - timedelta(days=60))
        spec = spec_of(formula.current)
        self.trial = add_version(formula, replace(spec, superfat=Decimal("0.08")))
        self.owner = Caller("owner")

    def planned(self, *, days: int = 0) -> str:
        loaded = load_formula(code="plain", number=self.trial.number)
        plan = make_plan(loaded, Wish(mold=self.shop.bench.mold))
        return plan_batch(plan, planned_on=self.today - timedelta(days=days)).code

    def made(self, *, cured: bool = True) -> str:
        """A batch of eight bars of the trial, released or still curing."""
        code, day = self.planned(days=POURED), self.today - timedelta(days=POURED)
        reserve_batch(code)
        self.owner.done(f"batches/{code}/pour/", {"minutes": 60, "on": str(day)})
        self.owner.done(f"batches/{code}/cut/", {"bars_good": 8, "minutes": 0, "on": str(day)})
        if cured:
            self.owner.done(f"batches/{code}/cure/", {"minutes": 0})
        return code

    def told(self) -> list[str]:
        """Where two bars that are promised today come from."""
        wanted = [Wanted(product_id=self.shop.product.pk, quantity=2)]
        return [part.code for part in promise(wanted, on=self.today)[0].parts]


def takes(bench: Bench, code: str) -> dict[str, int]:
    """What each door answers that would take bars of the lot."""
    by_lot = {"lines": [{"lot": code, "amount": "2 each"}]}
    by_material = {"lines": [{"material": bench.shop.bar.code, "amount": "2 each"}]}
    post = bench.owner.post
    return {
        "order": post("sales-orders/", ORDER).status_code,
        "shipment by lot": post("shipments/", {**SHIPMENT, **by_lot}).status_code,
        "shipment by material": post("shipments/", {**SHIPMENT, **by_material}).status_code,
    }


def test_no_door_takes_bars_of_a_trial_until_they_are_released_with_a_reason(database):
    bench = Bench()
    code = bench.made()
    lot = Lot.objects.get(code=code)
    assert (lot.state, lot.on_hand) == ("blocked", 8)
    assert "version 2 of Plain olive is a trial" in lot.state_reason
    assert set(takes(bench, code).values()) == {409} and code not in bench.told()
    client = Client()
    client.force_login(person("owner"))
    shown = read(client.get(f"/shelf/lots/{code}/"))
    assert "of a trial" in shown and "its version is made current" in shown
    assert bench.owner.post(f"lots/{code}/release/", {}).status_code == 422
    bench.owner.done(f"lots/{code}/release/", {"reason": "As good as the usual"})
    assert bench.told() == [code]
    assert set(takes(bench, code).values()) == {201}
    held = Hold.objects.get(lot=lot, cause="trial")
    assert held.lifted_reason == "As good as the usual" and held.lifted_by is not None


@pytest.mark.parametrize("cured", [True, False])
def test_making_the_version_current_frees_what_was_made_of_it(database, cured):
    bench = Bench()
    code = bench.made(cured=cured)
    assert code not in bench.told()
    bench.owner.done("formulas/plain/versions/2/make-current/")
    lot = Lot.objects.get(code=code)
    assert lot.state == ("released" if cured else "quarantine")
    assert bench.told() == [code]


def test_what_was_current_when_it_was_made_stays_free(database):
    bench = Bench()
    make_current(bench.trial)
    code = bench.made()
    make_current(bench.shop.bench.version)
    assert Lot.objects.get(code=code).state == "released" and bench.told() == [code]
    again = bench.made()
    assert Lot.objects.get(code=again).state == "released", "it was current before"


def test_a_planned_trial_promises_and_projects_no_bars(database):
    bench = Bench()
    code = bench.planned()
    assert code not in bench.told()
    holder = Batch.objects.get(code=code).holder
    assert not expected_makes().filter(holder=holder).exists()
    make_current(bench.trial)
    assert expected_makes().filter(holder=holder).exists()
    assert bench.told() == [code]
