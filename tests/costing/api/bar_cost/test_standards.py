"""Labor standards, fees, packaging sets and products over the API."""

from decimal import Decimal

import pytest
from django.utils import timezone

from costing.models.bar_cost.conversion import LaborStandard
from costing.models.bar_cost.packaging import PackagingPiece
from costing.models.rates.rates import Fee, Rate
from tests.costing.making import make_rates
from tests.inventory.making import make_material
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
STANDARDS, FEES = "/api/v1/labor-standards/", "/api/v1/fees/"
SETS, PRODUCTS = "/api/v1/packaging-sets/", "/api/v1/products/"
STANDARD = {"effective_from": "2026-01-01", "mix_minutes": 45, "wrap_seconds_per_bar": 60}
CARD = {"code": "card", "name": "Card", "share": "2.9 %", "fixed_per_sale": "0.30",
        "effective_from": "2026-01-01"}  # fmt: skip
BAR = {
    "code": "olive-bar", "name": "Olive bar", "formula": "plain", "mold": "loaf",
    "needs_no_packing": True,
}  # fmt: skip


@pytest.fixture
def owner():
    return client_as("owner")


@pytest.fixture
def bench():
    made = make_bench()
    make_rates()
    return made


def made(client, address, body):
    answer = client.post(address, body)
    assert answer.status_code == 201, answer.content
    return answer.json()


def named(answer):
    """The fields that a refusal names."""
    return {field for field, _ in fields_of(problem_in(answer, 422, "standard-refusal"))}


def test_a_standard_is_kept_for_all_and_for_one_recipe(owner, bench):
    studio = made(owner, STANDARDS, STANDARD)
    assert (studio["formula"], studio["mix_minutes"], studio["cut_minutes"]) == (None, 45, 0)
    own = made(owner, STANDARDS, {**STANDARD, "formula": "plain", "bars_per_rack": 40})
    assert owner.get(STANDARDS, {"formula": "plain"}).json()["results"] == [own]
    problem_in(owner.post(STANDARDS, STANDARD), 409, "standard-taken")
    problem_in(owner.post(STANDARDS, {**STANDARD, "formula": "none"}), 404, "not-found")
    address = f"{STANDARDS}{own['id']}/"
    answer = owner.patch(address, {"energy_wh": 1500}, headers={"If-Match": '"1"'})
    assert answer.status_code == 200, answer.content
    assert answer.json()["energy_wh"] == 1500 and answer.json()["formula"] == "plain"
    assert {row.changed_by is None for row in LaborStandard.objects.all()} == {False}
    put = owner.put(address, STANDARD, headers={"If-Match": '"2"'})
    problem_in(put, 409, "standard-taken")  # of all recipes there is one from that day


def test_a_fee_is_of_one_tier_or_of_all(owner):
    card = made(owner, FEES, CARD)
    assert (card["tier"], card["share"]) == (None, "0.029")
    problem_in(owner.post(FEES, CARD), 409, "standard-taken")
    answer = owner.post(FEES, {**CARD, "tier": "nobody", "share": "1"})
    assert named(answer) == {"tier", "share"}
    changed = owner.patch(
        f"{FEES}{card['id']}/", {"share": "0.03"}, headers={"If-Match": "*"}
    ).json()
    assert (changed["share"], changed["revision"]) == ("0.03", 2)
    assert changed["changed_by"] == Fee.objects.get().changed_by.username


def edition(**values):
    pieces = [
        {"material": "wrapper", "per": "bar", "pieces": 1},
        {"material": "carton", "per": "carton", "pieces": 1},
    ]
    return {"effective_from": "2026-01-01", "bars_per_carton": 24, "pieces": pieces, **values}


def test_an_edition_is_given_whole_and_an_old_one_stays(owner, bench):
    for code in ("wrapper", "carton"):
        make_material(code, kind="packaging", counted=True)
    made(owner, SETS, {"code": "wrap", "name": "Wrapped"})
    editions = f"{SETS}wrap/editions/"
    shown = made(owner, editions, edition())
    assert shown["editions"] == [edition()]
    problem_in(owner.post(editions, edition(bars_per_carton=12)), 409, "standard-taken")
    later = timezone.localdate().replace(year=2999).isoformat()
    made(owner, editions, edition(effective_from=later))
    one = [{"material": "wrapper", "per": "bar", "pieces": 2}]
    shown = made(owner, editions, edition(effective_from=later, pieces=one))
    assert [each["effective_from"] for each in shown["editions"]] == [later, "2026-01-01"]
    assert shown["editions"][0]["pieces"] == one
    assert PackagingPiece.objects.count() == 3
    answer = owner.post(
        editions,
        edition(
            effective_from=later,
            pieces=[{"material": m, "per": "bar", "pieces": 1} for m in ("olive", "none")],
        ),
    )
    assert named(answer) == {"pieces.0.material", "pieces.1.material"}


def test_a_product_names_its_recipe_mold_and_packing(owner, bench):
    made(owner, SETS, {"code": "wrap", "name": "Wrapped"})
    product = made(owner, PRODUCTS, {**BAR, "packaging_set": "wrap", "needs_no_packing": False})
    assert (product["formula"], product["mold"], product["packaging_set"]) == (
        "plain", "loaf", "wrap",
    )  # fmt: skip
    wrong = {**BAR, "code": "other", "formula": "none", "mold": "none", "packaging_set": "none"}
    faults = {"formula", "mold", "packaging_set", "needs_no_packing"}
    assert named(owner.post(PRODUCTS, wrong)) == faults
    address = f"{PRODUCTS}olive-bar/"
    changed = owner.patch(address, {"packaging_set": None}, headers={"If-Match": '"1"'}).json()
    assert (changed["packaging_set"], changed["revision"]) == (None, 2)


def test_what_a_product_costs(owner, bench):
    stock(bench)
    made(owner, PRODUCTS, BAR)
    shown = owner.get(f"{PRODUCTS}olive-bar/cost/", {"on": "2026-03-02"}).json()
    assert (shown["actual"], shown["actual_at_least"]) == (None, None)
    assert shown["replacement"] == shown["replacement_at_least"] is not None
    Rate.objects.filter(kind="overhead_batch").delete()
    unknown = owner.get(f"{PRODUCTS}olive-bar/cost/", {"on": "2026-03-02"}).json()
    assert unknown["replacement"] is None
    assert Decimal(unknown["replacement_at_least"]["amount"]) > 0
    assert any("overhead batch" in note for note in unknown["notes"])
    assert any("the last price paid stands in" in note for note in shown["notes"])
    problem_in(owner.get(f"{PRODUCTS}none/cost/"), 404, "not-found")
    assert owner.get(f"{PRODUCTS}olive-bar/cost/", {"quantity": "0"}).status_code == 400


def test_who_may_not_see_costs_sees_products_and_no_money(bench, owner):
    made(owner, PRODUCTS, BAR)
    maker = client_as("maker")
    assert maker.get(PRODUCTS).status_code == 200
    assert maker.get(SETS).status_code == 200
    for address in (STANDARDS, FEES, f"{PRODUCTS}olive-bar/cost/"):
        assert maker.get(address).status_code == 403
    assert maker.post(PRODUCTS, {**BAR, "code": "other"}).status_code == 403
