"""A product's price ladder, what to ask for it, and prices that fell under their floor."""

import re
from dataclasses import asdict
from datetime import date
from typing import ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.domain.quotes.quoting import TaxedPrice
from costing.queries.prices.margin_watch import Slip, watched
from costing.queries.prices.price_ladder import (
    Kept,
    LadderView,
    RungView,
    Suggestion,
    TierView,
    price_ladder,
    suggested_prices,
)
from costing.services.prices.prices import MOST_QUANTITY
from studio.foundation.errors import InvalidInput
from studio.foundation.local_words import written_money, written_percent
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField

LOOK: Rules = {"get": (Capability.READ, Capability.SEE_COSTS)}
PRODUCT = OpenApiParameter("product", str, required=True, description="The code of a product.")
ON = OpenApiParameter("on", date, description="As of this day (2026-03-02); today, if left out.")
QUANTITIES = OpenApiParameter(
    "quantities", str, description="1,24,144: from these quantities; those of the list, else 1."
)
MOST_QUANTITIES = 20
_QUANTITY = re.compile(r"[1-9][0-9]{0,6}")


class ShownMoneySerializer(AnswerSerializer):
    """A price in whole coins: without tax, the tax and with tax; the first two make the third.

    `shown` are the same as people of the studio's locale write them.
    """

    shows = TaxedPrice
    shown = serializers.SerializerMethodField()

    def get_shown(self, price: TaxedPrice) -> dict[str, str]:
        return {name: written_money(value) for name, value in asdict(price).items()}


class KeptSerializer(AnswerSerializer):
    """What a price keeps over a cost, after fees. Null where that cost is not known."""

    shows = Kept
    says = ("cost", "margin as margin_of_price", "markup as markup_on_cost")
    shown = serializers.SerializerMethodField()

    def get_shown(self, kept: Kept) -> dict[str, str]:
        shares = {"margin_of_price": kept.margin, "markup_on_cost": kept.markup}
        cost = {} if kept.cost is None else {"cost": written_money(kept.cost)}
        known = {name: share for name, share in shares.items() if share is not None}
        return {**cost, **{name: written_percent(share, 3) for name, share in known.items()}}


class ShownRungSerializer(AnswerSerializer):
    """A price from a quantity on. `floor` and `wanted` are written as the price is; where some cost
    is not known they are null, and `floor_at_least` is the least that the floor can be."""

    shows = RungView
    says = (
        *("entry.id", "entry.from_quantity", "entry.effective_from", "entry.price"),
        *("price as amounts", "actual as over_actual", "replacement as over_replacement"),
        *("floor", "floor_at_least", "wanted", "state as standing", "entry.override_reason"),
    )


class ShownTierSerializer(AnswerSerializer):
    """A tier with its prices. `floor_basis` says what the floor rests on."""

    shows = TierView
    says = (
        *("tier.code as tier", "tier.name", "tier.tax_share", "tier.tax_included"),
        *("floor.price as floor", "floor.basis as floor_basis", "wanted", "floor.note"),
        "rungs as prices",
    )


class LadderSerializer(AnswerSerializer):
    """A product's prices on a day; its costs are of one bar, packed."""

    shows = LadderView
    says = (
        *("product.code as product", "product.name", "on", "cost.actual as cost_actual"),
        *("cost.replacement as cost_replacement", "cost.actual_at_least as cost_actual_at_least"),
        "cost.replacement_at_least as cost_replacement_at_least",
        *("cost.notes", "tiers"),
    )


class SuggestedPriceSerializer(AnswerSerializer):
    """The lowest price on the tier's ending that keeps its wanted margin."""

    shows = Suggestion
    says = ("tier.code as tier", "from_quantity", "price", "floor", "listed", "note")
    listed = MoneyField(allow_null=True, help_text="What is asked now.")


class SuggestedPricesSerializer(StrictSerializer):
    """What to ask for a product on each tier; nothing is kept."""

    product = serializers.CharField()
    on = serializers.DateField()
    suggestions = SuggestedPriceSerializer(many=True)


class SlipSerializer(AnswerSerializer):
    """A price under its floor. `restoring_price` is the lowest that is not, discount considered.

    Where some cost is not known, it is null, and `floor` is the least that the floor can be.
    """

    shows = Slip
    says = (
        *("subject", "product", "product_name", "tier", "quantity", "price", "discount", "floor"),
        *("is_floor_known as floor_known", "restoring as restoring_price", "cost"),
        *("basis as floor_basis", "margin as margin_of_price", "floor_margin", "wanted_margin"),
        *("quote", "state as quote_state", "customer", "position"),
    )
    quote = serializers.CharField(help_text="Empty for entries of the list.")


class MarginWatchSerializer(StrictSerializer):
    """What is under its floor on a day, and of how many prices, of the list and of open quotes, the
    floor is not known."""

    on = serializers.DateField()
    floors_not_known = serializers.IntegerField()
    prices = SlipSerializer(many=True)
    quotes = SlipSerializer(many=True)


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
        return Response(self.get_serializer(view).data)


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
        found = watched(on=on)
        shown = {
            "on": on,
            "floors_not_known": found.not_known,
            "prices": [slip for slip in found.slips if not slip.is_quote],
            "quotes": [slip for slip in found.slips if slip.is_quote],
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
