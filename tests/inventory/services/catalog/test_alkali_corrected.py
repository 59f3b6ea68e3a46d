"""Which alkali a material is decides how much lye is weighed: an owner corrects it, saying why."""

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.errors import MaterialRefusal, NotForYou
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import keep_as_lye, save_material
from studio.foundation.doers import acting
from studio.work.keeping import changed
from tests.inventory.making import make_material
from tests.studio.web.api.people import person


def flakes(**values):
    spec = {"kind": Kind.ALKALI.value, "alkali": "NaOH", "purity": "0.98", **values}
    material = make_material("flakes", **spec)
    return Material.objects.get(pk=material.pk)


def correct(material, reason="the drum says so", by=None, **values):
    given = changed(material, values or {"alkali": "KOH"})
    return save_material(given, tuple(values or {"alkali": 0}), reason=reason, by=by)


@pytest.mark.parametrize("role", ["maker", "viewer", None])
def test_others_are_refused(database, role):
    material = flakes()
    with pytest.raises(NotForYou, match="an owner corrects it"):
        correct(material, by=person(role))
    assert Material.objects.get(pk=material.pk).alkali == "NaOH"


def test_nobody_in_particular_is_refused(database):
    with pytest.raises(NotForYou):
        correct(flakes())


def test_an_owner_says_why_and_the_history_keeps_it(database):
    material, owner = flakes(), person("owner")
    with pytest.raises(MaterialRefusal) as refused:
        correct(material, reason="  ", by=owner)
    assert [fault.field for fault in refused.value.faults] == ["reason"]
    with acting(lambda: owner):
        kept = correct(material)
    assert kept.alkali == "KOH"
    row = kept.history.first()
    assert (row.history_change_reason, row.history_user, row.alkali) == (
        "the drum says so",
        owner,
        "KOH",
    )


@pytest.mark.parametrize(
    "values",
    [{"alkali": ""}, {"inci_name": "Potassium Hydroxide", "alkali": ""}],
)
def test_by_whatever_it_is_known_it_is_the_same_correction(database, values):
    material = flakes(kind=Kind.INTERMEDIATE.value, inci_name="")
    with pytest.raises(NotForYou):
        correct(material, by=person("maker"), **values)


def test_a_name_that_makes_another_alkali_of_it_is_one_too(database):
    soda = make_material("soda", kind=Kind.ADDITIVE.value, inci_name="Sodium Hydroxide")
    with pytest.raises(NotForYou):
        correct(soda, by=person("maker"), inci_name="Potassium Hydroxide")


def test_what_is_no_correction_needs_no_owner(database):
    maker = person("maker")
    assert correct(flakes(), by=maker, purity="0.97").purity
    syrup = make_material("syrup", kind=Kind.ADDITIVE.value)
    # What it says of itself for the first time takes nothing back.
    assert correct(syrup, by=maker, inci_name="Aqua, Sodium Hydroxide").inci_name


def test_what_a_recipe_makes_is_lye_by_its_recipe(database):
    stored = make_material("stored", kind=Kind.INTERMEDIATE.value)
    keep_as_lye(stored.pk, "NaOH", by=person("maker"))
    assert Material.objects.get(pk=stored.pk).alkali == "NaOH"
