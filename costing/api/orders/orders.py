"""Customers' orders: taken, held, planned, shipped, taken back, called off."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.orders import answers, bodies
from costing.models.orders.sales import SalesOrder, SalesOrderState
from costing.queries.orders.sales import orders, pick_list
from costing.services.orders.acceptance import accept_quote
from costing.services.orders.batches import plan_missing
from costing.services.orders.endings import cancel_rest
from costing.services.orders.holds import reserve_line, unreserve_line
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.orders.shipping import ToLeave, ship_order
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, day, one_of
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import ReadOnlyStudioViewSet, StudioViewSet

SELL = (Capability.PRICE, Capability.SEE_COSTS)


class SalesOrderFilter(Filters):
    """Orders."""

    state = one_of(SalesOrderState)
    customer = by_code("customer")
    quote = by_code("quote")
    product = filters.CharFilter(field_name="lines__product__code", distinct=True)
    due_until = day("due_on", "lte")
    due_from = day("due_on", "gte")


class SalesOrderViewSet(ReadOnlyStudioViewSet):
    """Customers' orders, newest first. Makers see bars and days, money is for who may see costs."""

    queryset = orders().order_by("-id")
    serializer_class = answers.SalesOrderSerializer
    filterset_class = SalesOrderFilter
    ordering = ("-id",)
    rules: ClassVar = {
        "create": SELL,
        "reserve": Capability.PLAN,
        "unreserve": Capability.PLAN,
        "plan": Capability.PLAN,
        "picks": Capability.READ,
        "ship": Capability.KEEP_STOCK,
        "take_back": Capability.KEEP_STOCK,
        "cancel": SELL,
    }
    given_serializers: ClassVar = {
        "create": bodies.OrderingSerializer,
        "reserve": bodies.PartsSerializer,
        "unreserve": bodies.PartsSerializer,
        "plan": bodies.NothingSerializer,
        "ship": bodies.LeavingSerializer,
        "take_back": bodies.SentBackSerializer,
        "cancel": bodies.CancelRestSerializer,
    }
    answer_serializers: ClassVar = {"picks": answers.PickListSerializer}
    statuses: ClassVar = {"create": 201, "ship": 201, "take_back": 201}

    @stock_changing
    def create(self, request: Request) -> Response:
        """Take an order without a quote, at the prices of the list less the customer's discount."""
        given: Any = self.read(request)
        start = bodies.start_of(given)
        named = {name: given[name] for name in ("customer", "reference", "freight", "note")}
        days = {name: given.get(name) for name in ("ordered_on", "due_on")}
        lines = [OrderedBars(**line) for line in given["lines"]]
        ordering = Ordering(lines=lines, **named, **days)
        order = place_order(ordering, start=start, by=caller(request))
        response = self._shown(order.code)
        response.headers["Location"] = self.reverse_action("detail", args=[order.code])
        return response

    @action(detail=True, methods=["post"])
    @stock_changing
    def reserve(self, request: Request, code: str) -> Response:
        """Hold cured bars for lines, those that have cured longest first; all of it or nothing."""
        given: Any = self.read(request)
        reserve_line(code, bodies.by_line(given.get("parts"), "parts"), by=caller(request))
        return self._shown(code)

    @action(detail=True, methods=["post"])
    @stock_changing
    def unreserve(self, request: Request, code: str) -> Response:
        """Give back bars that are held for lines; without `parts` all of them."""
        given: Any = self.read(request)
        unreserve_line(code, bodies.by_line(given.get("parts"), "parts"), by=caller(request))
        return self._shown(code)

    @action(detail=True, methods=["post"])
    @stock_changing
    def plan(self, request: Request, code: str) -> Response:
        """Plan the batches for bars that nothing holds and no batch makes yet."""
        self.read(request)
        plan_missing(code, by=caller(request))
        return self._shown(code)

    @action(detail=True, methods=["get"], url_path="pick-list")
    def picks(self, request: Request, code: str) -> Response:
        """Which bars to take from where."""
        return self.answer(answers.shown_picks(pick_list(code)))

    @action(detail=True, methods=["post"])
    @stock_changing
    def ship(self, request: Request, code: str) -> Response:
        """Ship what is held, whole or in part, and take its packaging from stock."""
        given: Any = self.read(request)
        bars = bodies.by_line(given.pop("lines", None), "lines")
        ship_order(code, ToLeave(bars=bars, **given), by=caller(request))
        return self._shown(code)

    @action(detail=True, methods=["post"], url_path="return")
    @stock_changing
    def take_back(self, request: Request, code: str) -> Response:
        """Take back bars: into their lots with the cost that had left, and as a credit."""
        given: Any = self.read(request)
        lots = bodies.by_lot(given.pop("lots", None))
        return_bars(code, SentBack(lots=lots, **given), by=caller(request))
        return self._shown(code)

    @action(detail=True, methods=["post"])
    @stock_changing
    def cancel(self, request: Request, code: str) -> Response:
        """Call off what has not left: what is held is free again."""
        cancel_rest(code, by=caller(request), **self.read(request))
        return self._shown(code)

    def _shown(self, code: str) -> Response:
        return self.answer(self.get_queryset().get(code=code))


class AcceptQuoteViewSet(StudioViewSet):
    """A sent quote becomes an order."""

    queryset = SalesOrder.objects.none()
    serializer_class = answers.SalesOrderSerializer
    given_serializers: ClassVar = {"accept": bodies.AcceptSerializer}
    rules: ClassVar = {"accept": SELL}
    statuses: ClassVar = {"accept": 201}

    @stock_changing
    def accept(self, request: Request, code: str) -> Response:
        """Accept a quote as it was sent: bars are held, missing batches planned."""
        given: Any = self.read(request)
        start = bodies.start_of(given)
        order = accept_quote(
            code,
            mode=start.mode,
            parts=start.parts,
            plan=start.plan,
            reference=given["reference"],
            by=caller(request),
        )
        return self.answer(orders().get(pk=order.pk))
