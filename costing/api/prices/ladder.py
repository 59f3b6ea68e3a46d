"""A product's price ladder, what to ask for it, and prices that fell under their floor."""

import re
from datetime import date
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.queries.prices.margin_watch import slipped
from costing.queries.prices.price_ladder import (
    Kept,
    LadderView,
    RungState,
    RungView,
    price_ladder,
    suggested_prices,
)
from costing.services.prices.prices import MOST_QUANTITY
from studio.foundation.errors import InvalidInput
from studio.foundation.local_words import written_money, written_percent
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField

LOOK: Rules = {"get": (Capability.READ, Capability.SEE_COSTS)}
PRODUCT = OpenApiParameter("product", str, required=True, description="The code of a product.")
ON = OpenApiParameter("on", date, description="As of this day (2026-03-02); today, if left out.")
QUANTITIES = OpenApiParameter(
    "quantities", str, description="1,24,144: from these quantities; those of the list, else 1."
)
MOST_QUANTITIES = 20
_QUANTITY = re.compile(r"[1-9][0-9]{0,6}")


class ShownMoneySerializer(StrictSerializer):
    """A price in whole coins: without tax, the tax and with tax; the first two make the third.

    `shown` are the same as people of the studio's locale write them.
    """

    without_tax = MoneyField(read_only=True)
    tax = MoneyField(read_only=True)
    with_tax = MoneyField(read_only=True)
    shown = serializers.DictField(child=serializers.CharField(), read_only=True)


class KeptSerializer(StrictSerializer):
    """What a price keeps over a cost, after fees. Null where that cost is not known."""

    cost = MoneyField(read_only=True, allow_null=True)
    margin_of_price = ShareField(source="margin", read_only=True, allow_null=True)
    markup_on_cost = ShareField(source="markup", read_only=True, allow_null=True)
    shown = serializers.DictField(child=serializers.CharField(), read_only=True)


class ShownRungSerializer(StrictSerializer):
    """A price from a quantity on. `floor` and `wanted` are written as the price is."""

    id = serializers.IntegerField(read_only=True)
    from_quantity = serializers.IntegerField(read_only=True)
    effective_from = serializers.DateField(read_only=True)
    price = MoneyField(read_only=True)
    amounts = ShownMoneySerializer(read_only=True)
    over_actual = KeptSerializer(read_only=True)
    over_replacement = KeptSerializer(read_only=True)
    floor = MoneyField(read_only=True, allow_null=True)
    wanted = MoneyField(read_only=True, allow_null=True)
    standing = serializers.ChoiceField(
        choices=[each.value for each in RungState], source="state", read_only=True
    )
    override_reason = serializers.CharField(read_only=True)


class ShownTierSerializer(StrictSerializer):
    """A tier with its prices. `floor_basis` says what the floor rests on."""

    tier = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    tax_share = ShareField(read_only=True)
    tax_included = serializers.BooleanField(read_only=True)
    floor = MoneyField(read_only=True, allow_null=True)
    floor_basis = serializers.CharField(read_only=True)
    wanted = MoneyField(read_only=True, allow_null=True)
    note = serializers.CharField(read_only=True)
    prices = ShownRungSerializer(many=True, read_only=True)


class LadderSerializer(StrictSerializer):
    """A product's prices on a day; its costs are of one bar, packed."""

    product = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    on = serializers.DateField(read_only=True)
    cost_actual = MoneyField(read_only=True, allow_null=True)
    cost_replacement = MoneyField(read_only=True, allow_null=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)
    tiers = ShownTierSerializer(many=True, read_only=True)


class SuggestedPriceSerializer(StrictSerializer):
    """The lowest price on the tier's ending that keeps its wanted margin."""

    tier = serializers.CharField(source="tier.code", read_only=True)
    from_quantity = serializers.IntegerField(read_only=True)
    price = MoneyField(read_only=True, allow_null=True)
    floor = MoneyField(read_only=True, allow_null=True)
    listed = MoneyField(read_only=True, allow_null=True, help_text="What is asked now.")
    note = serializers.CharField(read_only=True)


class SuggestedPricesSerializer(StrictSerializer):
    """What to ask for a product on each tier; nothing is kept."""

    product = serializers.CharField(read_only=True)
    on = serializers.DateField(read_only=True)
    suggestions = SuggestedPriceSerializer(many=True, read_only=True)


class SlipSerializer(StrictSerializer):
    """A price under its floor. `restoring_price` is the lowest that is not, discount considered."""

    subject = serializers.CharField(read_only=True)
    product = serializers.CharField(read_only=True)
    product_name = serializers.CharField(read_only=True)
    tier = serializers.CharField(read_only=True)
    quantity = serializers.IntegerField(read_only=True)
    price = MoneyField(read_only=True)
    discount = ShareField(read_only=True)
    floor = MoneyField(read_only=True)
    restoring_price = MoneyField(source="restoring", read_only=True)
    cost = MoneyField(read_only=True, allow_null=True)
    floor_basis = serializers.CharField(source="basis", read_only=True)
    margin_of_price = ShareField(source="margin", read_only=True, allow_null=True)
    floor_margin = ShareField(read_only=True)
    wanted_margin = ShareField(read_only=True)
    quote = serializers.CharField(read_only=True, help_text="Empty for entries of the list.")
    quote_state = serializers.CharField(source="state", read_only=True)
    customer = serializers.CharField(read_only=True)
    position = serializers.IntegerField(read_only=True)


class MarginWatchSerializer(StrictSerializer):
    """What is under its floor on a day."""

    on = serializers.DateField(read_only=True)
    prices = SlipSerializer(many=True, read_only=True)
    quotes = SlipSerializer(many=True, read_only=True)


def shown_ladder(view: LadderView) -> dict[str, Any]:
    return {
        "product": view.product.code,
        "name": view.product.name,
        "on": view.on,
        "cost_actual": view.cost.actual,
        "cost_replacement": view.cost.replacement,
        "notes": view.cost.notes,
        "tiers": [
            {
                "tier": each.tier.code,
                "name": each.tier.name,
                "tax_share": each.tier.tax_share,
                "tax_included": each.tier.tax_included,
                "floor": each.floor.price,
                "floor_basis": each.floor.basis,
                "wanted": each.floor.wanted(each.rungs[0].entry.from_quantity if each.rungs else 1),
                "note": each.floor.note,
                "prices": [_shown_rung(rung) for rung in each.rungs],
            }
            for each in view.tiers
        ],
    }


def _shown_rung(rung: RungView) -> dict[str, Any]:
    entry, price = rung.entry, rung.price
    amounts = {
        "without_tax": price.without_tax,
        "tax": price.tax,
        "with_tax": price.with_tax,
    }
    return {
        "id": entry.pk,
        "from_quantity": entry.from_quantity,
        "effective_from": entry.effective_from,
        "price": entry.price,
        "amounts": {
            **amounts,
            "shown": {name: written_money(value) for name, value in amounts.items()},
        },
        "over_actual": _shown_kept(rung.actual),
        "over_replacement": _shown_kept(rung.replacement),
        "floor": rung.floor,
        "wanted": rung.wanted,
        "state": rung.state.value,
        "override_reason": entry.override_reason,
    }


def _shown_kept(kept: Kept) -> dict[str, Any]:
    shown = {
        "cost": None if kept.cost is None else written_money(kept.cost),
        "margin_of_price": None if kept.margin is None else written_percent(kept.margin, 3),
        "markup_on_cost": None if kept.markup is None else written_percent(kept.markup, 3),
    }
    return {
        "cost": kept.cost,
        "margin": kept.margin,
        "markup": kept.markup,
        "shown": {name: text for name, text in shown.items() if text is not None},
    }


class PriceLadderView(StudioView):
    """All prices of a product on a day, with tax, margins, floors and what is wanted."""

    serializer_class = LadderSerializer
    rules: ClassVar[Rules] = LOOK

    def query_parameters(self) -> tuple[str, ...]:
        return ("product", "on")

    @extend_schema(parameters=[PRODUCT, ON])
    def get(self, request: Request) -> Response:
        """One product's price ladder."""
        view = price_ladder(_product(request), on=_day(request))
        return Response(self.get_serializer(shown_ladder(view)).data)


class SuggestedPricesView(StudioView):
    """Prices that keep the wanted margin of every tier at the higher of the two costs."""

    serializer_class = SuggestedPricesSerializer
    rules: ClassVar[Rules] = LOOK

    def query_parameters(self) -> tuple[str, ...]:
        return ("product", "on", "quantities")

    @extend_schema(parameters=[PRODUCT, ON, QUANTITIES])
    def get(self, request: Request) -> Response:
        """What to ask for a product."""
        product, on = _product(request), _day(request)
        found = suggested_prices(product, on=on, quantities=_quantities(request))
        shown = {"product": product, "on": on, "suggestions": found}
        return Response(self.get_serializer(shown).data)


class MarginWatchView(StudioView):
    """Listed prices and open quotes that fell under their floor, looked at now."""

    serializer_class = MarginWatchSerializer
    rules: ClassVar[Rules] = LOOK

    def query_parameters(self) -> tuple[str, ...]:
        return ("on",)

    @extend_schema(parameters=[ON])
    def get(self, request: Request) -> Response:
        """What fell under its floor, and the prices that restore it."""
        on = _day(request)
        found = slipped(on=on)
        shown = {
            "on": on,
            "prices": [slip for slip in found if not slip.is_quote],
            "quotes": [slip for slip in found if slip.is_quote],
        }
        return Response(self.get_serializer(shown).data)


def _product(request: Request) -> str:
    code = request.query_params.get("product", "")
    if not code:
        raise InvalidInput("Name a product by its code.", field="product")
    return str(code)


def _day(request: Request) -> date:
    given = request.query_params.get("on")
    if given is None:
        return timezone.localdate()
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise InvalidInput("Write the day as 2026-03-02.", field="on") from None


def _quantities(request: Request) -> list[int]:
    given = request.query_params.get("quantities")
    if given is None:
        return []
    parts = given.split(",")
    readable = len(parts) <= MOST_QUANTITIES and all(_QUANTITY.fullmatch(part) for part in parts)
    found = [int(part) for part in parts] if readable else []
    if not found or max(found) > MOST_QUANTITY:
        raise InvalidInput(
            f"Write up to {MOST_QUANTITIES} quantities as 1,24,144.", field="quantities"
        )
    return found
