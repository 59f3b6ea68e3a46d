"""A product's price ladder, what to ask for it, and prices that fell under their floor."""

import re
from datetime import date
from typing import ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.prices.answers import (
    LadderSerializer,
    MarginWatchSerializer,
    SuggestedPricesSerializer,
    shown_ladder,
)
from costing.queries.prices.margin_watch import slipped
from costing.queries.prices.price_ladder import price_ladder, suggested_prices
from costing.services.prices.prices import MOST_QUANTITY
from studio.foundation.errors import InvalidInput
from studio.foundation.roles import Capability
from studio.web.api.views import StudioView
from studio.web.permissions import Rules

LOOK: Rules = {"get": (Capability.READ, Capability.SEE_COSTS)}
PRODUCT = OpenApiParameter("product", str, required=True, description="The code of a product.")
ON = OpenApiParameter("on", date, description="As of this day (2026-03-02); today, if left out.")
QUANTITIES = OpenApiParameter(
    "quantities", str, description="1,24,144: from these quantities; those of the list, else 1."
)
MOST_QUANTITIES = 20
_QUANTITY = re.compile(r"[1-9][0-9]{0,6}")


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
