"""Answers follow the hints of what they show."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

import pytest
from drf_spectacular.generators import SchemaGenerator
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import serializers

from inventory.models.catalog.suppliers import Offer
from inventory.models.stock.lots import Lot
from studio.foundation.hints import ExactMoney, Grams, Money, Share, Stock
from studio.web.api.answers import AnswerSerializer
from studio.web.serializer_fields.numbers import MoneyField

NG = 10**9


class Season(StrEnum):
    WET = "wet"
    DRY = "dry"


@dataclass(frozen=True, slots=True)
class Part:
    name: str
    cost: Money | None

    @property
    def twice(self) -> Money | None:
        return None if self.cost is None else 2 * self.cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    code: str
    on: date | None
    counted: bool
    held: Stock
    mass_ng: int
    mean: Grams
    price: ExactMoney
    share: Share
    season: Season
    by_season: Mapping[Season, Money | None]
    parts: tuple[Part, ...]
    best: Part | None


class PartSerializer(AnswerSerializer):
    """A part."""

    shows = Part
    says = ("name", "cost as paid", "twice")


class ShownSerializer(AnswerSerializer):
    """All kinds of hints."""

    shows = Shown


class PathsSerializer(AnswerSerializer):
    """Paths, and a field of its own."""

    shows = Shown
    cost_fields = ("cost",)
    says = ("best.cost", "mass_ng as weighed", "own")
    own = serializers.SerializerMethodField()

    def get_own(self, shown: Shown) -> str:
        return shown.code.upper()


def shown(**values):
    usual = {
        "code": "a", "on": None, "counted": False, "held": 3 * NG, "mass_ng": NG, "mean": 2 * NG,
        "price": Fraction(100_001, 2), "share": Decimal(1) / 3, "season": Season.DRY,
        "by_season": {Season.WET: 10_000, Season.DRY: None}, "parts": (), "best": None,
    }  # fmt: skip
    return Shown(**{**usual, **values})


def written(serializer, value):
    return serializer(value, context={"see_costs": True}).data


def test_each_kind_is_written_as_its_hint_says():
    assert written(ShownSerializer, shown(parts=(Part("x", 10_000), Part("y", None)))) == {
        "code": "a",
        "on": None,
        "counted": False,
        "held": {"amount": "3", "unit": "g"},
        "mass": {"amount": "1", "unit": "g"},
        "mean": {"amount": "2", "unit": "g"},
        "price": {"amount": "5.00", "currency": "USD"},
        "share": "0.333333",
        "season": "dry",
        "by_season": {"wet": {"amount": "1.00", "currency": "USD"}, "dry": None},
        "parts": [
            {
                "name": "x",
                "paid": {"amount": "1.00", "currency": "USD"},
                "twice": {"amount": "2.00", "currency": "USD"},
            },
            {"name": "y", "paid": None, "twice": None},
        ],
        "best": None,
    }


def test_what_is_counted_is_written_in_pieces():
    assert written(ShownSerializer, shown(counted=True, held=7))["held"] == {
        "amount": "7",
        "unit": "each",
    }


def test_may_be_null_is_what_the_hint_says_anywhere_on_the_path():
    assert {n for n, f in ShownSerializer().fields.items() if f.allow_null} == {"on", "best"}
    assert {n for n, f in PartSerializer().fields.items() if f.allow_null} == {"paid", "twice"}
    assert PathsSerializer().fields["cost"].allow_null
    assert not PathsSerializer().fields["weighed"].allow_null
    assert ShownSerializer().fields["by_season"].child.allow_null


def test_fields_come_in_the_order_that_is_said_and_declared_ones_stand_as_they_are():
    assert written(PathsSerializer, shown(best=Part("x", 5_000))) == {
        "cost": {"amount": "0.50", "currency": "USD"},
        "weighed": {"amount": "1", "unit": "g"},
        "own": "A",
    }
    assert list(PathsSerializer().fields) == ["cost", "weighed", "own"]


def test_costs_stay_hidden_from_those_who_may_not_see_them():
    assert "cost" not in PathsSerializer(shown(), context={"see_costs": False}).data


def test_choices_are_those_of_the_type():
    assert dict(ShownSerializer().fields["season"].choices) == {"wet": "wet", "dry": "dry"}


def test_columns_of_rows_are_told_by_their_model():
    class LotSerializer(AnswerSerializer):
        shows = Lot
        says = ("code", "state", "material.code as material", "on_hand", "cost", "location.name")
        counted = "material.counted"

    found = LotSerializer().fields
    assert isinstance(found["cost"], MoneyField)
    assert set(found["state"].choices) >= {"released", "blocked"}
    assert found["name"].allow_null and not found["material"].allow_null


def test_what_has_no_hint_or_no_field_is_refused():
    class WrongSerializer(AnswerSerializer):
        shows = Shown
        says = ("codes",)

    class UntoldSerializer(AnswerSerializer):
        shows = Offer
        says = ("breaks",)

    with pytest.raises(TypeError, match="codes"):
        _ = WrongSerializer().fields
    with pytest.raises(TypeError, match="declare one"):
        _ = UntoldSerializer().fields


@given(st.integers(-(10**15), 10**15), st.integers(1, 10**6))
def test_exact_money_is_rounded_half_to_even_once(whole, parts):
    exact = Fraction(whole, parts)
    told = written(ShownSerializer, shown(price=exact))["price"]
    assert told == MoneyField().to_representation(round(exact))


def test_the_description_knows_what_is_null():
    found = SchemaGenerator(urlconf="studio.urls").get_schema(request=None, public=True)
    line = found["components"]["schemas"]["DeliveryLine"]["properties"]
    assert line["offer"]["type"] == ["string", "null"]
    assert line["material"]["type"] == "string"
