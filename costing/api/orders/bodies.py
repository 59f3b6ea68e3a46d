"""What is asked of orders."""

from collections.abc import Mapping, Sequence
from typing import Any

from rest_framework import serializers

from costing.api.named import CodeField
from costing.services.orders.opening import Mode, Start
from costing.services.quotes.drafts import MOST_LINES
from inventory.services.shipping.returns import REASON_LENGTH
from recipes.domain.weighing import MOST_BARS
from studio.foundation.errors import InvalidInput
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import MoneyField

MODES = [(mode.value, mode.value) for mode in Mode]


def bars_field(**values: Any) -> serializers.IntegerField:
    """A number of bars within what an order can be about."""
    return serializers.IntegerField(min_value=1, max_value=MOST_BARS, **values)


class NothingSerializer(StrictSerializer):
    """A body that says nothing."""


class LineBarsSerializer(StrictSerializer):
    """So many bars of a line, by its position."""

    line = serializers.IntegerField(min_value=1)
    bars = serializers.IntegerField(min_value=0, max_value=MOST_BARS)


class _Started(StrictSerializer):
    """How an order starts: what is held at once, and whether the rest is planned."""

    mode = serializers.ChoiceField(
        choices=MODES,
        default=Mode.ALL.value,
        help_text='"all": all bars are held, or nothing is done. "parts": those of `parts` are '
        "held, or as many as are free; batches are planned for the rest.",
    )
    parts = LineBarsSerializer(
        many=True,
        required=False,
        max_length=MOST_LINES,  # type: ignore[call-arg]
    )
    plan = serializers.BooleanField(default=True, help_text="Plan the batches that are missing.")


class AcceptSerializer(_Started):
    """The customer's word on a sent quote."""

    reference = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default="", help_text="Their own number."
    )


class OrderedBarsSerializer(StrictSerializer):
    """Bars of a product; without a carton size, as its packaging set says."""

    product = CodeField()
    quantity = bars_field()
    bars_per_carton = bars_field(required=False)


class OrderingSerializer(_Started):
    """An order without a quote, at the prices of the list."""

    customer = CodeField()
    lines = OrderedBarsSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]
    ordered_on = serializers.DateField(required=False, help_text="Today, if left out.")
    due_on = serializers.DateField(
        required=False, help_text="The day by which all can be there, if left out."
    )
    reference = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default="", help_text="Their own number."
    )
    freight = MoneyField(required=False, default=0)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class PartsSerializer(StrictSerializer):
    """Bars by line; without `parts` as many as there are."""

    parts = LineBarsSerializer(
        many=True,
        required=False,
        max_length=MOST_LINES,  # type: ignore[call-arg]
    )


class LeavingSerializer(StrictSerializer):
    """What leaves: without `lines` all that has not left yet, which must be held."""

    lines = LineBarsSerializer(
        many=True,
        required=False,
        max_length=MOST_LINES,  # type: ignore[call-arg]
    )
    cartons = serializers.IntegerField(
        min_value=1,
        max_value=MOST_BARS,
        required=False,
        help_text="Without it each line fills its own.",
    )
    shipped_on = serializers.DateField(required=False, help_text="Today, if left out.")
    without_packaging = serializers.BooleanField(
        default=False, help_text="Book no packaging: what is not booked costs nothing here."
    )
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class BackLotSerializer(StrictSerializer):
    """Bars that came back, of a lot that somebody read."""

    lot = CodeField()
    bars = bars_field()


class SentBackSerializer(StrictSerializer):
    """What came back of a line of one of the order's shipments."""

    shipment = CodeField()
    line = serializers.IntegerField(min_value=1)
    bars = bars_field()
    reason = serializers.CharField(max_length=REASON_LENGTH)
    returned_on = serializers.DateField(required=False, help_text="Today, if left out.")
    lots = BackLotSerializer(
        many=True,
        required=False,
        max_length=MOST_LINES,  # type: ignore[call-arg]
    )


class CancelRestSerializer(StrictSerializer):
    """The rest is called off; planned batches stay unless said otherwise."""

    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    cancel_batches = serializers.BooleanField(
        default=False,
        help_text="Call off batches that were planned for it, are not poured, and that no other "
        "order waits for.",
    )


def by_line(given: Sequence[Mapping[str, Any]] | None, field: str) -> dict[int, int] | None:
    """Bars by position. Raises InvalidInput for a line that stands twice."""
    return None if given is None else _once(given, "line", field)


def by_lot(given: Sequence[Mapping[str, Any]] | None) -> dict[str, int] | None:
    """Bars by the code of the lot. Raises InvalidInput for a lot that stands twice."""
    return None if given is None else _once(given, "lot", "lots")


def start_of(given: Mapping[str, Any]) -> Start:
    """How the order starts."""
    return Start(
        mode=Mode(given["mode"]), parts=by_line(given.get("parts"), "parts"), plan=given["plan"]
    )


def _once(given: Sequence[Mapping[str, Any]], key: str, field: str) -> dict[Any, int]:
    found: dict[Any, int] = {}
    for index, each in enumerate(given):
        if each[key] in found:
            raise InvalidInput("It stands twice here.", field=f"{field}.{index}.{key}")
        found[each[key]] = each["bars"]
    return found
