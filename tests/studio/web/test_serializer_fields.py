"""Exact values in the API's JSON."""

import copy
import json
from decimal import Decimal

import pytest
from django.urls import path
from drf_spectacular.drainage import get_override
from drf_spectacular.generators import SchemaGenerator
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import generics, serializers
from rest_framework.exceptions import ValidationError

from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import UNITS, Dimension
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.web.serializer_fields.quantities import (
    BaseQuantityField,
    QuantityField,
    StockAmountField,
)
from studio.web.serializer_fields.reading import NumberRefusal, exact_text

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["amount", "unit", "currency", "x"]), inner)
    ),
    max_leaves=4,
)
BASE_UNITS = st.sampled_from(["g", "kg", "lb", "each", "mL", "fl oz", "mm", "in"])
FIELDS = {
    "quantity": QuantityField(dimensions=(Dimension.MASS, Dimension.VOLUME), unit="g"),
    "mass": BaseQuantityField(unit="g"),
    "pieces": BaseQuantityField(unit="each"),
    "money": MoneyField(),
    "share": ShareField(),
    "decimal": DecimalTextField(places=3),
}


def refused(field, value):
    with pytest.raises(ValidationError) as caught:
        field.run_validation(value)
    return [detail.code for detail in caught.value.detail]


@given(st.integers(0, 10**18), BASE_UNITS)
def test_a_stored_quantity_is_read_back_from_its_json(base, unit):
    field = BaseQuantityField(unit=unit)
    if base * 2 < 2**63:
        assert field.run_validation(json.loads(json.dumps(field.to_representation(base)))) == base


@given(st.integers(0, 10**18))
def test_money_is_read_back_from_its_json(value):
    field = MoneyField()
    assert field.run_validation(json.loads(json.dumps(field.to_representation(value)))) == value


@given(st.integers(0, 10**6))
def test_a_share_is_read_back_from_its_json_and_from_percent(millionths):
    value = Decimal(millionths).scaleb(-6)
    field = ShareField()
    assert field.run_validation(field.to_representation(value)) == value
    assert field.run_validation(f"{value * 100:f} %") == value
    assert field.run_validation(f"{value * 100:f}%") == value


@given(st.sampled_from(sorted(FIELDS)), JSON)
def test_any_json_is_read_or_refused_and_nothing_else(name, value):
    try:
        FIELDS[name].run_validation(value)
    except ValidationError as error:
        assert error.get_codes()


@pytest.mark.parametrize("written", ["1.25", "0.5", "3", "1E+2"])
def test_a_json_number_that_was_read_exactly_is_taken_as_its_text(written):
    number = Decimal(written)
    assert exact_text(number) == format(number, "f")


@pytest.mark.parametrize("written", ["NaN", "Infinity", "1E+999999", "1E-999999"])
def test_a_decimal_that_is_no_number_or_without_end_is_refused(written):
    with pytest.raises(NumberRefusal):
        exact_text(Decimal(written))


@given(st.sampled_from(sorted(FIELDS)), st.floats())
def test_a_json_float_is_never_taken(name, value):
    assert refused(FIELDS[name], value)[0] in {"not-exact", "not-text"}


def test_a_quantity_is_read_from_text_and_from_amount_and_unit():
    field = FIELDS["quantity"]
    expected = parse_quantity("1.25 lb")
    for written in (
        "1 lb 4 oz",
        {"amount": "1.25", "unit": "lb"},
        {"amount": "1 1/4", "unit": "pounds"},
    ):
        assert field.run_validation(written) == expected
    assert field.run_validation({"amount": 2, "unit": "L"}) == parse_quantity("2 L")
    assert field.to_representation(expected) == {"amount": "1.25", "unit": "lb"}
    assert field.to_representation(10**9) == {"amount": "1", "unit": "g"}


@pytest.mark.parametrize(
    ("name", "value", "codes"),
    [
        ("quantity", {"amount": 1.25, "unit": "kg"}, ["not-exact"]),
        ("quantity", {"amount": "1"}, ["missing-member"]),
        ("quantity", {"amount": "1", "x": 1, "y": 2}, ["unknown-member"] * 2 + ["missing-member"]),
        ("quantity", {"amount": "1", "unit": "each"}, ["wrong-dimension"]),
        ("quantity", {"amount": "-1", "unit": "kg"}, ["negative"]),
        ("quantity", {"amount": "1 lb 4", "unit": "oz"}, ["bad-number"]),
        ("quantity", "3,5 kg", ["comma"]),
        ("quantity", "500 ML", ["ambiguous-unit"]),
        ("quantity", 5, ["not-text"]),
        ("mass", "1 L", ["wrong-dimension"]),
        ("pieces", "1/2 each", ["not-whole"]),
        ("money", {"amount": "1", "currency": "XTS"}, ["other-currency"]),
        ("money", {"amount": "1"}, ["missing-member"]),
        ("money", "1.23456", ["too-precise"]),
        ("money", "-1", ["negative"]),
        ("money", True, ["not-exact"]),
        ("share", "1.01", ["too-large"]),
        ("share", "101 %", ["too-large"]),
        ("share", "-1 %", ["too-small"]),
        ("share", "0.0000001", ["too-precise"]),
        ("share", "0.00001 %", ["too-precise"]),
        ("share", "5 % %", ["not-a-number"]),
        ("decimal", "NaN", ["not-a-number"]),
        ("decimal", "1e5", ["not-a-number"]),
        ("decimal", "1,5", ["not-a-number"]),
        ("decimal", "1.2345", ["too-precise"]),
        ("decimal", "9" * 5000, ["not-a-number"]),
        pytest.param("decimal", 10**5000, ["too-large"], id="5001 digits"),
        pytest.param("money", 10**5000, ["too-large"], id="5001 digits of money"),
        ("decimal", None, ["null"]),
    ],
)
def test_what_is_not_exact_or_not_wanted_is_refused_with_its_code(name, value, codes):
    if value is None:
        with pytest.raises(ValidationError) as caught:
            FIELDS[name].run_validation(value)
        assert caught.value.get_codes() == codes
    else:
        assert refused(FIELDS[name], value) == codes


def test_the_name_of_an_unknown_member_cannot_break_the_answer():
    with pytest.raises(ValidationError) as caught:
        FIELDS["quantity"].run_validation({"\ud800": 1, "amount": "1", "unit": "g"})
    assert str(caught.value.detail[0]).isascii()


def test_money_is_read_from_text_and_integers_and_written_with_its_currency(settings):
    settings.STUDIO_CURRENCY = "EUR"
    field = MoneyField(allow_negative=True)
    assert field.run_validation({"amount": "12.5", "currency": "EUR"}) == 125_000
    assert field.run_validation("-12.5") == -125_000
    assert field.run_validation(12) == 120_000
    assert field.to_representation(125_000) == {"amount": "12.50", "currency": "EUR"}


def test_decimals_are_written_plainly_and_kept_within_their_limits():
    field = DecimalTextField(places=3, min_value=Decimal(0), max_value=Decimal(300))
    assert field.run_validation("-0") == 0
    assert field.run_validation(".5") == Decimal("0.5")
    assert field.run_validation(300) == 300
    assert refused(field, "300.001") == ["too-large"]
    assert refused(field, "-0.001") == ["too-small"]
    assert field.to_representation(Decimal("1E+2")) == "100"
    assert field.to_representation(Decimal("0.050")) == "0.05"


def test_stock_is_written_in_grams_or_pieces_as_the_material_says():
    class Lot(serializers.Serializer):
        on_hand = StockAmountField(counted="material.counted")

    lot = {"on_hand": 3, "material": {"counted": True}}
    assert Lot(lot).data == {"on_hand": {"amount": "3", "unit": "each"}}
    lot = {"on_hand": 1_250 * 10**9, "material": {"counted": False}}
    assert Lot(lot).data == {"on_hand": {"amount": "1250", "unit": "g"}}
    assert Lot({"on_hand": None, "material": {"counted": False}}).data == {"on_hand": None}


def test_fields_work_inside_a_serializer_and_keep_their_settings():
    class Line(serializers.Serializer):
        quantity = QuantityField(dimensions=(Dimension.COUNT,))
        fat = BaseQuantityField(unit="oz", required=False, allow_null=True)

    line = Line(data={"quantity": "12", "fat": None})
    assert line.is_valid(), line.errors
    assert Line({"quantity": parse_quantity("1 dozen"), "fat": None}).data == {
        "quantity": {"amount": "1", "unit": "dozen"},
        "fat": None,
    }


def test_an_integer_without_a_unit_to_write_it_in_is_a_mistake_of_ours():
    with pytest.raises(TypeError):
        QuantityField(dimensions=(Dimension.MASS,)).to_representation(5)


def test_the_schema_tells_the_shapes():
    pair, text = get_override(FIELDS["mass"], "field")["oneOf"]
    assert pair["properties"]["unit"]["enum"] == [
        u.symbol for u in UNITS.values() if u.dimension is Dimension.MASS
    ]
    assert pair["required"] == ["amount", "unit"]
    assert text["type"] == "string"
    assert get_override(FIELDS["money"], "field")["oneOf"][0]["required"] == ["amount", "currency"]
    assert get_override(FIELDS["share"], "field")["type"] == "string"
    assert get_override(StockAmountField(counted="x"), "field")["required"] == ["amount", "unit"]


def test_openapi_is_generated_from_the_fields_without_a_warning(capsys):
    class Everything(serializers.Serializer):
        on_hand = StockAmountField(counted="counted")

        def get_fields(self):
            return {**super().get_fields(), **copy.deepcopy(FIELDS)}

    class EverythingView(generics.CreateAPIView):
        serializer_class = Everything
        permission_classes = ()

    patterns = [path("everything/", EverythingView.as_view())]
    schema = SchemaGenerator(patterns=patterns).get_schema(request=None, public=True)
    shapes = schema["components"]["schemas"]["Everything"]["properties"]
    assert set(shapes) == {"on_hand", *FIELDS}
    assert shapes["on_hand"]["readOnly"]
    assert shapes["mass"]["oneOf"][0]["properties"]["unit"]["enum"] == ["kg", "g", "mg", "lb", "oz"]
    assert capsys.readouterr().err == ""
