"""Exact numbers in integer columns: what goes in comes out, and floats stay out."""

from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import models
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.model_fields import (
    RESERVED_CODES,
    CodeField,
    FixedPointField,
    LengthField,
    MassField,
    MoneyField,
    StockField,
    VolumeField,
    rules,
)

PLACES = st.integers(0, 6)
EXACT_FIELDS = [StockField, MassField, VolumeField, LengthField, MoneyField]


@given(st.integers(-(10**12), 10**12), PLACES)
def test_a_fixed_point_number_comes_back_as_it_was_written(digits, places):
    field = FixedPointField(places=places)
    number = Decimal(digits).scaleb(-places)
    stored = field.get_prep_value(number)
    assert isinstance(stored, int)
    assert stored == digits
    assert field.from_db_value(stored) == number


@given(st.decimals(-(10**9), 10**9, places=9), PLACES)
def test_what_lies_between_two_places_is_rounded_half_to_even(number, places):
    field = FixedPointField(places=places)
    expected = number.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    assert field.from_db_value(field.get_prep_value(number)) == expected


@pytest.mark.parametrize(
    "wrong", [1.5, float("nan"), "NaN", "Infinity", "1,5", "kg", "", [], "1E+99"]
)
def test_only_finite_exact_numbers_are_taken(wrong):
    with pytest.raises(ValidationError):
        FixedPointField(places=3).to_python(wrong)


def test_nothing_stays_nothing():
    field = FixedPointField(places=3, null=True)
    assert field.to_python(None) is None
    assert field.get_prep_value(None) is None
    assert field.from_db_value(None) is None


def test_an_expression_goes_to_the_database_as_it_is():
    expression = models.F("other")
    assert FixedPointField(places=3).get_prep_value(expression) is expression


def test_migrations_remember_the_places():
    _, _, args, kwargs = FixedPointField(places=6, null=True).deconstruct()
    assert kwargs["places"] == 6
    assert FixedPointField(*args, **kwargs).places == 6


def test_its_form_field_keeps_the_places():
    form_field = FixedPointField(places=2).formfield()
    assert form_field.clean("1.25") == Decimal("1.25")
    with pytest.raises(ValidationError):
        form_field.clean("1.255")


@pytest.mark.parametrize("field", EXACT_FIELDS)
def test_amounts_are_64_bit_integer_columns(field):
    assert issubclass(field, models.BigIntegerField)
    assert field().get_prep_value(453_592_370_000) == 453_592_370_000


@pytest.mark.parametrize("word", sorted(RESERVED_CODES))
def test_a_word_of_an_address_is_no_code(word):
    with pytest.raises(ValidationError, match="choose another code"):
        CodeField().clean(word, None)
    assert CodeField().clean(f"{word}-2", None) == f"{word}-2"


@given(st.sampled_from(sorted(RESERVED_CODES)) | st.text(max_size=60), st.integers(20, 40))
def test_a_code_made_from_a_name_is_one_that_may_be_given(name, most):
    code = CodeField.made_from(name.title(), most=most)
    assert len(code) <= most
    if code:
        assert CodeField().clean(code, None) == code


def test_to_the_database_a_code_is_a_slug():
    _, path, _, kwargs = CodeField(max_length=40, unique=True).deconstruct()
    assert path == "django.db.models.SlugField"
    assert kwargs == {"max_length": 40, "unique": True}


def test_a_rule_of_a_table_is_a_condition_or_fields_that_name_one_row():
    assert rules(not_below=models.Q(price__gte=0), one_a_day=("kind", "day")) == [
        models.CheckConstraint(condition=models.Q(price__gte=0), name="not_below"),
        models.UniqueConstraint(fields=["kind", "day"], name="one_a_day"),
    ]
