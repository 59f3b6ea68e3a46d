"""A recipe on pages: written with live totals, changed while no batch used it, compared."""

from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from recipes.domain.formulas.amount_words import write_amount
from recipes.domain.formulas.formula import Basis
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaVersion
from recipes.pages.formulas.forms import read_amount
from recipes.services.formulas.formulas import add_formula
from tests.form_values import form_of
from tests.inventory.making import make_material
from tests.read_pages import read
from tests.recipes.making import make_bench, planned
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
NEW = "/recipes/new/"
TOTALS = "/recipes/new/totals/"
SETTINGS = {
    "naoh": "naoh",
    "water": "water",
    "superfat": "6 %",
    "lye_concentration": "33 %",
    "cure_days": "28",
}


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def written(*lines, portions=(), layers=(), **values):
    """What the form sends. A line is material, amount and further fields."""
    sent = {**SETTINGS, "kind": "soap", **values}
    for prefix, rows in (("lines", lines), ("portions", portions), ("layers", layers)):
        sent |= {f"{prefix}-TOTAL_FORMS": len(rows) + 1, f"{prefix}-INITIAL_FORMS": 0}
        for index, row in enumerate(rows):
            sent |= {f"{prefix}-{index}-{name}": value for name, value in row.items()}
    return sent


def line(material, amount, basis="share-of-fats", stage="fats", **more):
    return {"material": material, "amount": amount, "basis": basis, "stage": stage, **more}


FATS = (line("olive", "70"), line("coconut", "30 %"))


def test_written_from_nothing():
    bench = make_bench()
    lines = [
        *FATS,
        line("scent", "20 g", "g-per-kg-fats", "trace"),
        line("box", "1", "per-bar", "pack"),
    ]
    sent = written(*lines, name="Second soap", minutes="45", resolution="0.5 g")
    response = signed_in("maker").post(NEW, sent)
    assert response.status_code == 303 and response["Location"] == "/recipes/second-soap/"
    version = FormulaVersion.objects.get(formula__code="second-soap")
    kept = [(row.material.code, row.amount, row.basis, row.stage) for row in version.lines.all()]
    assert kept == [
        ("olive", Decimal("0.7"), "share-of-fats", "fats"),
        ("coconut", Decimal("0.3"), "share-of-fats", "fats"),
        ("scent", Decimal(20), "g-per-kg-fats", "trace"),
        ("box", Decimal(1), "per-bar", "pack"),
    ]
    assert (version.superfat, version.lye_concentration) == (Decimal("0.06"), Decimal("0.33"))
    assert (version.minutes, version.resolution, version.naoh) == (
        45,
        5 * 10**8,
        bench.materials["naoh"],
    )


@pytest.mark.parametrize(
    ("lines", "values", "words"),
    [
        ((line("olive", "70"), line("coconut", "20")), {}, "they sum to 90 %"),
        ((line("olive", "seventy"), line("coconut", "30")), {}, "Write a share in percent"),
        ((line("lard", "100"),), {}, "No material has this name or code"),
        ((line("scent", "100"),), {}, "only fats can be a share of the fats"),
        (FATS, {"naoh": ""}, "Name the NaOH"),
        (FATS, {"superfat": ""}, "how much superfat"),
        (FATS, {"lye_concentration": "80 %"}, "80 %"),
        ((*FATS, line("box", "3 g", "fixed", "pack")), {}, "box"),
        (FATS, {"name": "Plain olive", "code": "plain"}, "There is a recipe plain already"),
        (FATS, {"name": "Molds", "code": "molds"}, "choose another code"),
    ],
)
def test_what_cannot_be_stands_beside_it_and_nothing_is_lost(lines, values, words):
    make_bench()
    sent = written(*lines, **{"name": "Other", **values})
    response = signed_in().post(NEW, sent)
    page = read(response)
    assert response.status_code == 422 and words in page
    assert Formula.objects.count() == 1, "half a recipe was kept"
    for row in lines:
        assert f'value="{row["amount"]}"' in page and f'value="{row["material"]}"' in page


def test_totals_while_typing_store_nothing():
    make_bench()
    client = signed_in()
    page = read(client.post(TOTALS, written(line("olive", "70"), line("coconut", "20"))))
    assert "90 %" in page and "10 % missing" in page
    page = read(client.post(TOTALS, written(*FATS)))
    # 0.7 x 190 + 0.3 x 256 mg KOH/g
    assert "209.8" in page and "100 %" in page
    page = read(client.post(TOTALS, written(line("olive", "70"), line("co", "abc"))))
    assert 'id="lines-1-live"' in page and "No material has this name" in page
    assert Formula.objects.count() == 1


def test_a_blend_has_no_lye():
    make_bench()
    lines = (line("olive", "90"), line("scent", "10 %", "fixed"))
    sent = written(*lines, name="Scented oil", kind="blend", superfat="", ready_days="14")
    assert signed_in().post(NEW, sent).status_code == 303
    version = FormulaVersion.objects.get(formula__code="scented-oil")
    assert version.naoh is None and version.ready_days == 14
    assert "A blend, only mixed" in read(signed_in().get("/recipes/scented-oil/"))


def test_portions_and_layers_are_kept():
    make_bench()
    sent = written(
        *FATS,
        portions=[{"name": "white", "share": "60"}, {"name": "red", "share": "40 %"}],
        layers=[
            {"portion": "white", "share": "100", "place": "across"},
            {"portion": "red", "share": "100", "place": "left", "note": "thin"},
        ],
        name="Two colors",
    )
    assert signed_in().post(NEW, sent).status_code == 303
    page = read(signed_in().get("/recipes/two-colors/"))
    assert "100 % of red, left: thin" in page


def test_a_version_is_changed_until_a_batch_used_it():
    bench = make_bench()
    client = signed_in()
    edit = "/recipes/plain/versions/1/edit/"
    page = client.get(edit)
    seen = page.context["seen"]
    assert 'value="70 %"' in read(page)
    changed = written(line("olive", "60"), line("coconut", "40"), seen=seen)
    assert client.post(edit, changed).status_code == 303
    bench.version.refresh_from_db()
    assert bench.version.lines.first().amount == Decimal("0.6")
    late = client.post(edit, changed)
    assert late.status_code == 422 and "Somebody else saved" in read(late)
    FormulaVersion.objects.update(frozen_at=timezone.now())
    assert client.get(edit)["Location"].endswith("/versions/1/next/")
    seen = written(*FATS, seen="x")
    assert client.post(edit, seen).status_code == 422
    assert bench.version.lines.first().amount == Decimal("0.6")


def test_the_next_version_and_what_changed(django_assert_max_num_queries):
    make_bench()
    client = signed_in()
    lines = [line("olive", "65"), line("coconut", "35"), line("box", "2", "per-bar", "pack")]
    sent = written(*lines, superfat="8 %")
    assert client.post("/recipes/plain/versions/1/next/", sent).status_code == 303
    with django_assert_max_num_queries(20):
        page = read(client.get("/recipes/plain/differences/"))
    for words in ("<del>70 % of the fats</del>", "<ins>65 % of the fats</ins>", "taken out"):
        assert words in page
    assert "<ins>8 %</ins>" in page
    assert "are the same" in read(
        client.get("/recipes/plain/differences/", {"before": "2", "after": "2"})
    )


def test_the_page_says_what_it_is(django_assert_max_num_queries):
    bench = make_bench()
    planned(bench)
    client = signed_in("viewer")
    with django_assert_max_num_queries(14):
        page = read(client.get("/recipes/plain/"))
    for words in ("6 % superfat", "33 %", "28 days", "70 % of the fats", "B-00001", "209.8"):
        assert words in page
    assert "Write the next version" not in page
    assert "Write the next version" in read(signed_in("maker").get("/recipes/plain/"))
    assert client.get(NEW).status_code == 403
    assert client.get("/recipes/nothing/").status_code == 404


def test_every_basis_reads_what_it_writes():
    for basis in Basis:
        for counted in (False, True):
            for amount in ("0.07", "0.5", "1"):
                written_text = write_amount(Decimal(amount), basis, counted=counted)
                if counted and basis in (Basis.FIXED, Basis.PER_BAR) and amount != "1":
                    continue
                assert read_amount(written_text, basis, counted=counted) == Decimal(amount)


def test_pages_are_flat_in_the_number_of_materials(django_assert_max_num_queries):
    make_bench()
    for number in range(3):
        make_material(f"more-{number}")
    client = signed_in()
    for address in (NEW, "/recipes/plain/versions/1/next/", "/recipes/plain/versions/1/edit/"):
        with django_assert_max_num_queries(12):
            assert client.get(address).status_code == 200
    with django_assert_max_num_queries(9):
        client.post(TOTALS, written(*FATS))


def test_a_recipe_with_only_a_name_asks_for_what_goes_in():
    make_bench()
    add_formula(code="bare", name="Bare")
    client = signed_in()
    assert "only its name" in read(client.get("/recipes/bare/"))
    assert client.post("/recipes/bare/versions/first/", written(*FATS)).status_code == 303
    assert FormulaVersion.objects.get(formula__code="bare").lines.count() == 2


def test_a_recipe_is_renamed_and_taken_out_of_use_with_its_revision():
    make_bench()
    client = signed_in("maker")
    address = "/recipes/plain/settings/"
    given = form_of(read(client.get(address)))
    assert given["name"] == "Plain olive" and "least_make" not in given
    given |= {"name": "Harbor olive", "note": "For the fair"}
    given.pop("active")
    assert client.post(address, given)["Location"] == "/recipes/plain/"
    kept = Formula.objects.get()
    assert (kept.name, kept.active, kept.note) == ("Harbor olive", False, "For the fair")
    stale = client.post(address, {**given, "name": "Other"})
    assert stale.status_code == 422 and "Somebody else saved it" in read(stale)
    too_long = client.post(address, {**form_of(read(client.get(address))), "name": "x" * 120})
    assert too_long.status_code == 422 and "bars are named after it" in read(too_long)
    assert signed_in("viewer").get(address).status_code == 403


def test_the_least_of_a_blend_is_kept():
    blend = add_formula(code="mix", name="Fat mix", kind=FormulaKind.BLEND)
    client = signed_in("maker")
    given = form_of(read(client.get("/recipes/mix/settings/")))
    assert client.post("/recipes/mix/settings/", {**given, "least_make": "2 lb"}).status_code == 303
    blend.refresh_from_db()
    # The avoirdupois pound is 0.45359237 kg exactly (NIST Handbook 44, appendix C, from memory).
    assert blend.least_make == 2 * 453_592_370_000
    refused = client.post("/recipes/mix/settings/", {**given, "revision": "2", "least_make": "0 g"})
    assert refused.status_code == 422 and "more than nothing" in read(refused)
