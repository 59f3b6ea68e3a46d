"""No door lets a record in under a word of the studio's own addresses."""

import pytest
from django.apps import apps
from django.db.models import SlugField

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.catalog.materials import Material
from inventory.services.stock.locations import LocationDescription, save_location
from recipes.models.molds.molds import Mold
from recipes.services.formulas.formulas import add_formula
from studio.foundation.errors import Refusal
from tests.inventory.making import KG, make_lot, make_material
from tests.recipes.api.calls import LOAF, Caller, fill_shelf
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


def rows():
    return sum(
        model.objects.count()
        for model in apps.get_models()
        if any(isinstance(field, SlugField) for field in model._meta.fields)
    )


@pytest.mark.parametrize(
    "door",
    [
        lambda: add_formula(code="molds", name="Molds"),
        lambda: add_formula(code="new", name="New", kind="blend"),
        lambda: save_location(LocationDescription(code="new", name="New", kind="shelf")),
        lambda: make_material("new"),
        lambda: make_lot(Material.objects.first(), KG, code="tree"),
    ],
)
def test_services_refuse_it_and_leave_nothing_behind(door):
    make_material("olive", kind=MaterialKind.FAT.value)
    before = rows()
    with pytest.raises(Refusal, match="choose another code") as refused:
        door()
    assert [(fault.code, fault.field) for fault in refused.value.faults] == [
        ("reserved-code", "code")
    ]
    assert rows() == before


@pytest.mark.parametrize("word", ["new", "molds", "what-if"])
def test_the_api_names_the_field(word):
    fill_shelf()
    maker = Caller("maker")
    for path, body in (("molds/", LOAF), ("formulas/", {"name": "A soap"})):
        document = problem_in(maker.post(path, {**body, "code": word}), 400, "invalid-fields")
        assert [(e["code"], e["field"]) for e in document["errors"]] == [("reserved-code", "code")]
    assert not Mold.objects.exists()
