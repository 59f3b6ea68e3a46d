"""A record is described once, in its model: whoever adds a field finds it everywhere by itself."""

import re
from pathlib import Path

import pytest
from django import forms
from django.apps import apps
from django.db import models
from django.template import Context, Template
from django.template.loader import get_template

from inventory.api.catalog.materials import MaterialSerializer
from inventory.api.catalog.suppliers import SupplierSerializer
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.pages.catalog.material_edit import MaterialForm
from inventory.pages.catalog.suppliers import SupplierForm
from inventory.services.exchange.materials import MATERIALS
from inventory.services.exchange.tables import SUPPLIERS
from recipes.api.molds.molds import MoldSerializer
from recipes.api.scales.scales import ScaleSerializer
from recipes.models.molds.molds import Mold
from recipes.models.scales.scales import Scale
from recipes.pages.molds.molds import MoldForm
from recipes.pages.scales.scales import ScaleForm
from recipes.services.molds.molds import MOLDS
from recipes.services.scales.scales import SCALES
from studio.foundation.model_fields import MONEY, Between, MoneyField, described, said
from studio.models import Revised
from studio.web.api.serializers import StrictModelSerializer
from studio.web.pages.row_forms import RowForm
from studio.work.exchange.described import columns_of

RECORDS = [
    (Supplier, SupplierSerializer, SupplierForm, SUPPLIERS),
    (Material, MaterialSerializer, MaterialForm, MATERIALS),
    (Mold, MoldSerializer, MoldForm, MOLDS),
    (Scale, ScaleSerializer, ScaleForm, SCALES),
]
#: Columns that the studio sets itself: nobody writes them, and only the API tells them.
OWN = {"id", "revision", "created_at", "updated_at", "changed_by"}


@pytest.mark.parametrize(("model", "serializer", "form", "table"), RECORDS)
def test_each_column_is_in_the_api_the_form_and_the_table(model, serializer, form, table):
    columns = {field.name for field in model._meta.concrete_fields} - OWN
    written = {name for name, field in serializer().fields.items() if not field.read_only}
    assert columns <= set(described(model))
    assert columns <= written
    assert columns <= set(form().fields)
    assert columns <= {column.name for column in table.layout.columns}


@pytest.mark.parametrize(
    ("form", "page"),
    [
        (SupplierForm, "inventory/catalog/supplier_edit.html"),
        (MaterialForm, "inventory/catalog/material_edit.html"),
        (MoldForm, "recipes/molds/edit.html"),
        (ScaleForm, "recipes/scales/edit.html"),
    ],
)
def test_a_page_shows_what_its_template_does_not_place(form, page):
    assert "{% rest form %}" in Path(get_template(page).origin.name).read_text(encoding="utf-8")
    shown = Template("{% load studio_pages %}{% field form.name %}{% rest form %}").render(
        Context({"form": form()})
    )
    assert sorted(re.findall(r' name="(\w+)"', shown)) == sorted(form().fields)


@pytest.mark.parametrize(("model", "serializer", "form", "table"), RECORDS)
def test_costs_stand_once_on_the_model(model, serializer, form, table):
    costs = set(getattr(model, "costs", ()))
    assert set(serializer.cost_fields) == costs
    assert {column.name for column in table.layout.columns if column.cost} == costs
    if costs:
        assert not costs & set(form(sees_costs=False).fields)


#: Money that everybody with a role may see.
PUBLIC: dict[type[models.Model], set[str]] = {}


@pytest.mark.parametrize("model", [model for model, *_ in RECORDS])
def test_all_money_is_a_cost_unless_it_is_said_to_be_public(model):
    money = {field.name for field in model._meta.fields if isinstance(field, MoneyField)}
    assert money - set(getattr(model, "costs", ())) == PUBLIC.get(model, set())


def test_one_description_is_a_form_an_api_field_and_a_column():
    """What the next field of a supplier brings along, shown with a model of this test's own."""

    class Tried(Revised):
        costs = ("deposit",)
        deposit = said(
            MoneyField(default=0, blank=True, validators=[MONEY]),
            "Deposit on a drum",
            "It comes back.",
            meaning="what a drum costs until it is returned",
            example="20",
        )
        visits = said(
            models.PositiveIntegerField(validators=[Between(1, 9, "From 1 to 9.")]),
            "Visits in a year",
            meaning="how often they come by",
            unit="in a year",
        )

        class Meta:
            app_label = "inventory"

    try:
        names = described(Tried)

        class TriedForm(RowForm):
            class Meta(RowForm.Meta):
                model = Tried
                fields = names

        class TriedSerializer(StrictModelSerializer):
            cost_fields = Tried.costs

            class Meta:
                model = Tried
                fields = names

        deposit, visits = columns_of(Tried, names)
        assert (deposit.cost, deposit.needed, deposit.empty) == (True, False, 0)
        assert (visits.cost, visits.needed, visits.kind.words) == (
            False,
            True,
            "a whole number, in a year",
        )
        form = TriedForm({"deposit": "12.50", "visits": "3"})
        assert form.is_valid() and form["deposit"].label == "Deposit on a drum"
        row, given = form.given_row()
        assert (row.deposit, row.visits, set(given)) == (125_000, 3, set(names))
        assert isinstance(form.fields["visits"], forms.IntegerField)
        assert not TriedForm({"visits": "10"}).is_valid()
        assert list(TriedForm(sees_costs=False).fields) == ["visits"]
        read = TriedSerializer(data={"deposit": "12.5", "visits": 3}, context={"see_costs": True})
        assert read.is_valid(), read.errors
        assert read.given_row()[0].deposit == 125_000
        assert "what a drum costs" in str(read.fields["deposit"].help_text).lower()
        closed = TriedSerializer(data={"deposit": "1", "visits": 3}, context={"see_costs": False})
        assert not closed.is_valid() and "deposit" in closed.errors
    finally:
        apps.all_models["inventory"].pop("tried")
        apps.clear_cache()
