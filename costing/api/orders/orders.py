"""Customers' orders: what is asked of them, their verbs, their papers."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar

from django.conf import settings
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.orders import answers
from costing.models.orders.sales import SalesOrder, SalesOrderState
from costing.paper.pick_list import TEMPLATE, pick_values
from costing.queries.orders.sales import InvoiceRow, invoice_rows, orders, pick_list
from costing.services.orders.batches import plan_missing
from costing.services.orders.holds import cancel_rest, reserve_line, unreserve_line
from costing.services.orders.opening import Mode, Start, accept_quote
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.orders.shipping import ToLeave, ship_order
from costing.services.prices.floor_word import LONGEST_WORD
from costing.services.quotes.drafts import MOST_LINES
from inventory.services.shipping.returns import REASON_LENGTH
from recipes.domain.weighing import MOST_BARS
from studio.foundation.errors import InvalidInput
from studio.foundation.money import to_decimal
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.saved import SavedTable
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, day, one_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet, StudioViewSet
from studio.web.downloads import Page, PaperView, TableView
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField

MODES = [(mode.value, mode.value) for mode in Mode]
INVOICE = (
    "order", "customer", "reference", "shipment", "ship_date", "kind", "product", "quantity",
    "unit_price", "net", "tax", "gross", "currency", "terms", "due_date",
)  # fmt: skip
SELL = (Capability.PRICE, Capability.SEE_COSTS)


def bars_field(**values: Any) -> serializers.IntegerField:
    """A number of bars within what an order can be about."""
    return serializers.IntegerField(min_value=1, max_value=MOST_BARS, **values)


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
    override_reason = serializers.CharField(
        max_length=LONGEST_WORD,
        required=False,
        allow_blank=True,
        default="",
        help_text="Why an owner takes prices under their floor, or whose floor is not known.",
    )


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


class PickListPaperView(PaperView):
    """The pick list on paper, with boxes to tick and a code to scan back to the order."""

    rules: ClassVar = {"get": Capability.READ}

    def page(self, **kwargs: Any) -> Page:
        found = pick_list(kwargs["code"])
        values = {**pick_values(found), "code": qr_svg(found.order.code)}
        return Page(template=TEMPLATE, values=values, name=f"{found.order.code}-picks")


class InvoiceTableView(TableView):
    """What is to be invoiced, a row for each line that left, for freight, and for each credit.

    Once all has left and nothing came back, the rows add up to the order's sums.
    """

    rules: ClassVar = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        rows = invoice_rows(kwargs["code"])
        return SavedTable(
            name=f"{kwargs['code']}-invoice",
            heads=INVOICE,
            rows=[_cells(row) for row in rows],
        )


def _cells(row: InvoiceRow) -> Sequence[Cell]:
    return (
        row.order,
        row.customer,
        row.reference,
        row.shipment,
        row.day,
        row.kind,
        row.product,
        Decimal(row.quantity),
        None if row.price is None else to_decimal(row.price),
        to_decimal(row.net),
        to_decimal(row.tax),
        to_decimal(row.gross),
        settings.STUDIO_CURRENCY,
        row.terms,
        row.due_on,
    )


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

    @verb(SELL, given=OrderingSerializer, status=201)
    def create(self, request: Request, given: Any) -> Any:
        """Take an order without a quote, at the prices of the list less the customer's discount."""
        start = start_of(given)
        names = ("customer", "reference", "freight", "note", "override_reason")
        named = {name: given[name] for name in names}
        days = {name: given.get(name) for name in ("ordered_on", "due_on")}
        lines = [OrderedBars(**line) for line in given["lines"]]
        ordering = Ordering(lines=lines, **named, **days)
        order = place_order(ordering, start=start, by=caller(request))
        return self.made(self.get_queryset().get(code=order.code))

    @verb(Capability.PLAN, given=PartsSerializer)
    def reserve(self, request: Request, code: str, given: Any) -> Any:
        """Hold cured bars for lines, those that have cured longest first; all of it or nothing."""
        reserve_line(code, by_line(given.get("parts"), "parts"), by=caller(request))
        return self._shown(code)

    @verb(Capability.PLAN, given=PartsSerializer)
    def unreserve(self, request: Request, code: str, given: Any) -> Any:
        """Give back bars that are held for lines; without `parts` all of them."""
        unreserve_line(code, by_line(given.get("parts"), "parts"), by=caller(request))
        return self._shown(code)

    @verb(Capability.PLAN)
    def plan(self, request: Request, code: str) -> Any:
        """Plan the batches for bars that nothing holds and no batch makes yet."""
        plan_missing(code, by=caller(request))
        return self._shown(code)

    @look(Capability.READ, answer=answers.PickListSerializer, path="pick-list")
    def picks(self, request: Request, code: str) -> Any:
        """Which bars to take from where."""
        return pick_list(code)

    @verb(Capability.KEEP_STOCK, given=LeavingSerializer, status=201)
    def ship(self, request: Request, code: str, given: Any) -> Any:
        """Ship what is held, whole or in part, and take its packaging from stock."""
        bars = by_line(given.pop("lines", None), "lines")
        ship_order(code, ToLeave(bars=bars, **given), by=caller(request))
        return self._shown(code)

    @verb(Capability.KEEP_STOCK, given=SentBackSerializer, status=201, path="return")
    def take_back(self, request: Request, code: str, given: Any) -> Any:
        """Take back bars: into their lots with the cost that had left, and as a credit."""
        lots = by_lot(given.pop("lots", None))
        return_bars(code, SentBack(lots=lots, **given), by=caller(request))
        return self._shown(code)

    @verb(SELL, given=CancelRestSerializer)
    def cancel(self, request: Request, code: str, given: Any) -> Any:
        """Call off what has not left: what is held is free again."""
        cancel_rest(code, by=caller(request), **given)
        return self._shown(code)

    def _shown(self, code: str) -> Response:
        return self.answer(self.get_queryset().get(code=code))


class AcceptQuoteViewSet(StudioViewSet):
    """A sent quote becomes an order."""

    queryset = SalesOrder.objects.none()
    serializer_class = answers.SalesOrderSerializer
    given_serializers: ClassVar = {"accept": AcceptSerializer}
    rules: ClassVar = {"accept": SELL}
    statuses: ClassVar = {"accept": 201}

    @stock_changing
    def accept(self, request: Request, code: str) -> Response:
        """Accept a quote as it was sent: bars are held, missing batches planned."""
        given: Any = self.read(request)
        start = start_of(given)
        order = accept_quote(
            code,
            mode=start.mode,
            parts=start.parts,
            plan=start.plan,
            reference=given["reference"],
            by=caller(request),
        )
        return self.answer(orders().get(pk=order.pk))
