"""What a recipe makes stays what it is, and has the alkali of its recipe."""

from decimal import Decimal

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.ledger import Verb
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import save_material
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from recipes.domain.formulas.formula import Basis
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_version, write_formula
from studio.work.keeping import changed
from tests.inventory.making import KG, TODAY, make_material
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


def shares(*parts):
    lines = [
        LineSpec(material=m, basis=Basis.OF_BATTER, amount=Decimal(share)) for m, share in parts
    ]
    return VersionSpec(lines=lines)


@pytest.fixture
def lye():
    """What a recipe of NaOH and water makes."""
    soap = make_bench().materials
    spec = shares((soap["naoh"], "0.1"), (soap["water"], "0.9"))
    formula = write_formula(code="weak-lye", name="Weak lye", kind=FormulaKind.BLEND, spec=spec)
    return formula, Material.objects.get(pk=formula.product_id), soap


def refused(material, **values):
    with pytest.raises(MaterialRefusal) as found:
        save_material(
            changed(material, values), tuple(values), reason="so it is", by=person("owner")
        )
    assert Material.objects.get(pk=material.pk).revision == material.revision
    return {(fault.code, fault.field) for fault in found.value.faults}, str(found.value)


def test_a_blend_keeps_kind_unit_and_alkali_and_the_refusal_names_its_recipe(lye):
    _, made, _ = lye
    faults, words = refused(made, alkali="", kind="additive", counted=True)
    assert faults == {("made-here", name) for name in ("alkali", "kind", "counted")}
    assert "recipe weak-lye" in words


def test_an_owner_has_the_mark_follow_the_recipe(lye):
    formula, made, soap = lye
    Material.objects.filter(pk=made.pk).update(alkali="KOH")
    wrong = Material.objects.get(pk=made.pk)
    assert refused(wrong, alkali="")[0] == {("made-here", "alkali")}
    right = {"alkali": "NaOH"}
    kept = save_material(changed(wrong, right), tuple(right), reason="as made", by=person("owner"))
    assert kept.alkali == "NaOH"
    add_version(formula, shares((soap["water"], "1")))  # a trial changes nothing
    assert refused(kept, alkali="")[0] == {("made-here", "alkali")}


def test_bars_and_poured_soap_become_no_fat(lye):
    formula = Formula.objects.get(kind=FormulaKind.SOAP)
    for made in (formula.product, formula.batter):
        material = Material.objects.get(pk=made.pk)
        assert refused(material, kind="fat", sv_mg_koh_g=Decimal(190))[0] == {("made-here", "kind")}
        assert refused(material, alkali="NaOH")[0] >= {("made-here", "alkali")}


def test_lots_made_here_are_enough():
    ends = make_material("ends", kind=Kind.INTERMEDIATE.value)
    assert save_material(changed(ends, {"kind": "batter"}), ("kind",)).kind == "batter"
    new = NewLot(material=ends, code="E-1", amount=KG, cost=0, received_on=TODAY)
    open_lots([new], verb=Verb.PRODUCE, origin=Origin(reference="batch:B-1"))
    assert refused(Material.objects.get(pk=ends.pk), kind="additive")[0] == {("made-here", "kind")}


def test_other_words_about_it_are_free_without_a_stated_strength(lye):
    _, made, _ = lye
    kept = save_material(changed(made, {"note": "In the blue can."}), ("note",))
    assert kept.note and kept.alkali == "NaOH"


def test_nor_by_http(lye):
    owner = Caller("owner")
    body = {"alkali": "", "kind": "additive", "reason": "so it is"}
    answer = owner.patch("materials/weak-lye/", body, **{"If-Match": "*"})
    problem = problem_in(answer, 422, "material-refusal")
    assert {fault["field"] for fault in problem["errors"]} == {"alkali", "kind"}
