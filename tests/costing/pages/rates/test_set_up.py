"""From a studio with a recipe to a priced product by hand, and what is refused on the way."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.bar_cost.conversion import LaborStandard
from costing.models.bar_cost.packaging import PackagingSet
from costing.models.prices.prices import Product, Tier
from costing.models.rates.rates import Fee, Rate
from tests.costing.selling import a_product, a_tier
from tests.form_values import form_of
from tests.read_pages import read
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 16
SETUP = "/prices/setup/"
UNIT = 10_000
PIECES = {"pieces-TOTAL_FORMS": "3", "pieces-INITIAL_FORMS": "0"}


@pytest.fixture
def client():
    signed_in = Client()
    signed_in.force_login(person("owner"))
    return signed_in


def today(days=0):
    return timezone.localdate() + timedelta(days=days)


def look(client, address):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200 and len(queries) <= MOST_QUERIES
    return read(answer)


def send(client, address, **values):
    return client.post(SETUP + address, values)


def refused(answer, *told):
    page = read(answer)
    assert answer.status_code == 422
    assert all(words in page for words in told), page


def test_what_is_missing_is_told_until_it_is_there(client):
    bench = make_bench()
    page = look(client, SETUP)
    assert "an hour of labor" in page and "nothing can be priced" in page
    for kind in ("labor_hour", "overhead_batch", "overhead_labor_hour"):
        given = {"kind": kind, "amount": "12.50", "effective_from": today().isoformat()}
        assert send(client, "rates/new/", **given).status_code == 303
    assert send(client, "tiers/start/").status_code == 303
    packing = {"name": "Boxed", "code": "boxed", "bars_per_carton": "24", **PIECES}
    packing |= {"effective_from": today().isoformat()}
    packing |= {"pieces-0-material": "box", "pieces-0-per": "bar", "pieces-0-pieces": "1"}
    answer = send(client, "packing/new/", **packing)
    assert answer.status_code == 303, read(answer)
    product = {"name": "Plain olive bar", "formula": "plain", "mold": bench.mold.code}
    product |= {"packaging_set": "boxed", "active": "on"}
    made = send(client, "products/new/", **product)
    assert made["Location"] == "/prices/plain-olive-bar/product/"
    assert "All that a price rests on is set" in look(client, SETUP)
    assert Rate.objects.get(kind="labor_hour").amount == 125_000
    assert PackagingSet.objects.get().editions.get().pieces.get().pieces == 1
    assert Product.objects.get().packaging_set.code == "boxed"
    assert "Direct" in look(client, f"{SETUP}tiers/")


def test_a_rate_holds_from_its_day_and_the_past_is_not_written_over(client):
    Rate.objects.create(kind="labor_hour", amount=20 * UNIT, effective_from=today(-30))
    new = {"kind": "labor_hour", "amount": "22", "effective_from": today(10).isoformat()}
    assert send(client, "rates/new/", **new).status_code == 303
    assert send(client, "rates/new/", **{**new, "amount": "23"}).status_code == 303
    assert Rate.objects.get(effective_from=today(10)).amount == 23 * UNIT
    old = {**new, "effective_from": today(-30).isoformat()}
    refused(send(client, "rates/new/", **old), "is there already", 'value="22"')
    assert Rate.objects.get(effective_from=today(-30)).amount == 20 * UNIT
    page = look(client, f"{SETUP}rates/")
    assert "$20.00" in page and "$23.00 from" in page and "not told apart" in page


def test_standards_and_fees_hold_from_a_day_on(client):
    make_bench()
    tier = a_tier()
    standard = {"formula": "plain", "effective_from": today().isoformat(), "mix_minutes": "30"}
    assert send(client, "labor/new/", **standard, cut_seconds_per_bar="12").status_code == 303
    kept = LaborStandard.objects.get()
    assert (kept.mix_minutes, kept.cut_seconds_per_bar, kept.bars_per_rack) == (30, 12, None)
    assert "30 min" in look(client, f"{SETUP}labor/")
    fee = {"name": "Card", "code": "card", "share": "2.9 %", "fixed_per_sale": "0.30"}
    fee |= {"tier": tier.code, "effective_from": today().isoformat()}
    assert send(client, "fees/new/", **fee).status_code == 303
    assert send(client, "fees/new/", **{**fee, "share": "3.1"}).status_code == 303
    assert Fee.objects.get().share == Decimal("0.031") and Fee.objects.get().tier == tier
    assert "3.1 %" in look(client, f"{SETUP}fees/")
    refused(send(client, "fees/new/", **{**fee, "share": "120 %"}), "from 0 to 100")
    refused(
        send(client, "labor/new/", **{**standard, "mix_minutes": "-1"}), "greater than or equal"
    )


def test_a_tier_is_changed_with_its_revision_and_margins_that_cannot_be_are_refused(client):
    a_tier(step=500)
    address = "tiers/wholesale/"
    given = form_of(look(client, SETUP + address))
    assert given["wanted_margin"] == "50 %"
    less = {**given, "wanted_margin": "30 %"}
    refused(send(client, address, **less), "at least the floor margin")
    answer = send(client, address, **{**given, "wanted_margin": "55"})
    assert answer.status_code == 303, read(answer)
    assert Tier.objects.get().wanted_margin == Decimal("0.55")
    refused(send(client, address, **given), "Somebody else saved it")
    again = read(client.post(f"{SETUP}tiers/start/", follow=True))
    assert "There are tiers already" in again


def test_packing_changes_from_a_day_on_and_names_the_row_that_is_wrong(client):
    make_bench()
    given = {"name": "Boxed", "code": "boxed", "bars_per_carton": "24", **PIECES}
    given |= {"effective_from": today().isoformat()}
    row = {"pieces-0-material": "box", "pieces-0-per": "bar"}
    refused(send(client, "packing/new/", **given, **row), "required", 'value="Boxed"')
    assert not PackagingSet.objects.exists()
    twice = {**row, "pieces-0-pieces": "1"}
    twice |= {name.replace("-0-", "-1-"): value for name, value in twice.items()}
    refused(send(client, "packing/new/", **given, **twice), "is there twice")
    assert not PackagingSet.objects.exists()
    assert (
        send(client, "packing/new/", **given, **row, **{"pieces-0-pieces": "1"}).status_code == 303
    )
    later = form_of(look(client, f"{SETUP}packing/boxed/"))
    assert later["pieces-0-material"] == "box" and later["bars_per_carton"] == "24"
    emptied = {name: "" if name.startswith("pieces-0-") else value for name, value in later.items()}
    emptied |= {"effective_from": today(5).isoformat(), "bars_per_carton": "30"}
    emptied |= {name: later[name] for name in later if name.endswith("_FORMS")}
    assert send(client, "packing/boxed/", **emptied).status_code == 303
    kept = {each.effective_from: each for each in PackagingSet.objects.get().editions.all()}
    assert kept[today()].pieces.count() == 1 and kept[today(5)].pieces.count() == 0
    assert "30 bars in a carton" in look(client, f"{SETUP}packing/")


def test_packing_is_named_anew_and_put_away(client):
    made = PackagingSet.objects.create(code="boxed", name="Boxed")
    given = form_of(look(client, f"{SETUP}packing/boxed/name/"))
    away = {name: value for name, value in given.items() if name != "active"} | {"name": "Old box"}
    assert send(client, "packing/boxed/name/", **away).status_code == 303
    made.refresh_from_db()
    assert (made.name, made.active) == ("Old box", False)
    assert "not used on" in look(client, f"{SETUP}packing/")
    refused(send(client, "packing/boxed/name/", **given), "Somebody else saved it")
    PackagingSet.objects.create(code="banded", name="Banded")
    newest = form_of(look(client, f"{SETUP}packing/boxed/name/"))
    refused(send(client, "packing/boxed/name/", **{**newest, "code": "banded"}), 'value="Old box"')


def test_what_held_before_and_what_is_to_come_is_shown(client):
    tier = a_tier()
    for days, share in ((-20, "0.02"), (-5, "0.03"), (9, "0.04")):
        kept = {"code": "card", "name": "Card", "effective_from": today(days)}
        Fee.objects.create(**kept, share=Decimal(share))
    Fee.objects.create(
        code="card", name="Card", tier=tier, share=Decimal("0.06"), effective_from=today(-1)
    )
    for days, minutes in ((-20, 41), (-5, 42), (9, 43)):
        LaborStandard.objects.create(effective_from=today(days), mix_minutes=minutes)
    page = look(client, f"{SETUP}fees/")
    assert page.index("3 %") < page.index("4 %") and "2 % from" in page
    page = look(client, f"{SETUP}labor/")
    assert page.index("42 min") < page.index("43 min") < page.index("Before") < page.index("41 min")
    page = look(client, f"{SETUP}tiers/")
    assert "6 %" in page and "9 %" not in page  # its own card fee holds in place of that of all


def test_a_product_keeps_its_recipe_and_a_code_that_is_an_address_is_refused(client):
    bench = make_bench()
    a_product(bench)
    given = form_of(look(client, "/prices/plain-bar/product/edit/"))
    assert (
        client.post("/prices/plain-bar/product/edit/", {**given, "note": "new"}).status_code == 303
    )
    assert Product.objects.get().note == "new"
    new = {"name": "Setup", "formula": "plain", "mold": bench.mold.code}
    send(client, "products/new/", **new)
    assert Product.objects.get(name="Setup").code == "setup-1"
    taken = {**new, "name": "Twin", "code": "plain-bar"}
    refused(send(client, "products/new/", **taken), "plain-bar")


def test_only_those_who_set_prices_change_them_and_only_those_who_see_costs_look(client):
    a_tier()
    maker, seeing = Client(), Client()
    maker.force_login(person("maker"))
    seeing.force_login(person("maker", see_costs=True))
    for page in ("", "rates/", "tiers/", "fees/", "labor/", "packing/"):
        assert maker.get(SETUP + page).status_code == 403
        assert seeing.get(SETUP + page).status_code == 200
    for page in ("rates/new/", "tiers/new/", "tiers/wholesale/", "packing/new/", "products/new/"):
        assert seeing.get(SETUP + page).status_code == 403
        assert maker.get(SETUP + page).status_code == 403
