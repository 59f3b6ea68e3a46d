"""Quantities and money on a page's form."""

import pytest
from django import forms
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.units.conversion import mass_ng, pieces
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import MoneyFormField, QuantityFormField

MASS, VOLUME, COUNT = Dimension.MASS, Dimension.VOLUME, Dimension.COUNT


class Delivery(forms.Form):
    quantity = QuantityFormField(dimensions=(MASS, VOLUME))
    eggs = QuantityFormField(dimensions=(COUNT,), stored=pieces, unit="each", required=False)
    price = MoneyFormField()


def refused(field, text):
    with pytest.raises(ValidationError) as caught:
        field.clean(text)
    return [error.code for error in caught.value.error_list]


def test_a_form_gives_exact_values():
    form = Delivery({"quantity": " 1 lb 4 oz ", "eggs": "12", "price": "1,234.50"})
    assert form.is_valid(), form.errors
    assert form.cleaned_data == {
        "quantity": parse_quantity("1.25 lb"),
        "eggs": 12,
        "price": 12_345_000,
    }


def test_a_form_tells_every_fault_with_its_code():
    form = Delivery({"quantity": "3,5 kg", "eggs": "1/2 each", "price": "1e5"})
    codes = {name: error.as_data()[0].code for name, error in form.errors.items()}
    assert codes == {"quantity": "comma", "eggs": "not-whole", "price": "not-a-number"}


def test_a_form_shows_stored_values_as_they_are_read():
    form = Delivery(initial={"quantity": parse_quantity("2 1/2 tsp"), "eggs": 3, "price": 12_345})
    shown = {name: form[name].value() for name in form.fields}
    assert shown == {"quantity": "2.5 tsp", "eggs": "3 each", "price": "1.2345"}
    assert 'inputmode="decimal"' in str(form["price"])
    assert 'maxlength="64"' in str(form["quantity"])


def test_what_was_not_changed_is_not_changed():
    initial = {"quantity": parse_quantity("1.25 lb"), "eggs": 12, "price": 125_000}
    same = Delivery({"quantity": "1 lb 4 oz", "eggs": "1 dozen", "price": "12.50"}, initial=initial)
    assert same.changed_data == []
    other = Delivery({"quantity": "1 lb", "eggs": "12", "price": "12.50"}, initial=initial)
    assert other.changed_data == ["quantity"]


@given(st.integers(0, 10**15))
def test_a_stored_mass_survives_being_shown_and_sent_back(ng):
    field = QuantityFormField(dimensions=(MASS,), stored=mass_ng, unit="lb")
    assert field.clean(field.prepare_value(ng)) == ng


@given(st.integers(0, 10**15), st.sampled_from(["en_US", "de_DE", "fr_FR", "hi_IN"]))
def test_stored_money_survives_being_shown_and_sent_back(value, locale):
    field = MoneyFormField(locale=locale)
    assert field.clean(field.prepare_value(value)) == value


@pytest.mark.parametrize("empty", ["", "  ", None])
def test_an_empty_field_is_none_or_required(empty):
    assert QuantityFormField(dimensions=(MASS,), required=False).clean(empty) is None
    assert MoneyFormField(required=False).clean(empty) is None
    assert refused(QuantityFormField(dimensions=(MASS,)), empty) == ["required"]
    assert refused(MoneyFormField(), empty) == ["required"]


def test_own_validators_still_run():
    def not_zero(quantity):
        if not quantity.amount:
            raise ValidationError("none", code="zero")

    assert refused(QuantityFormField(dimensions=(MASS,), validators=[not_zero]), "0 g") == ["zero"]


def test_negative_money_where_it_is_allowed():
    assert MoneyFormField(allow_negative=True).clean("-2") == -20_000
    assert refused(MoneyFormField(), "-2") == ["negative"]
    assert refused(MoneyFormField(), "2\0") == ["not-a-number"]
