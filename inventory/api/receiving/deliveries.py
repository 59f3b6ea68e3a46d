"""Deliveries: what came in, line by line as the supplier wrote it, and what it really cost."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from inventory.api.fields import MeasuredFields, PackField
from inventory.api.filters import DeliveryFilter
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind
from inventory.domain.stock.lots import LotState
from inventory.models.receiving.deliveries import Delivery, DeliveryLine
from inventory.services.receiving.deliveries import faults_of_delivery, receive_delivery
from inventory.services.receiving.received import INVOICE_AGAIN, OrderLineAt, Received, ReceivedLine
from studio.foundation.errors import Fault, Refusal
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.views import StudioView
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.error_tree import faults_in, tree_of
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField
from studio.web.serializer_fields.quantities import BaseQuantityField

Judge = Callable[[Any], Sequence[Fault]]


def read_or_tell_all(view: StudioView, request: Request, judge: Judge) -> Any:
    """The body, read by the view's serializer.

    Where some of it cannot be read, `judge` is shown the rest (required members may be missing),
    and what it finds joins the ValidationError, save what follows from the unread members.
    """
    try:
        return view.read(request)
    except ValidationError as unread:
        told = list(faults_in(unread.detail))
        rest = _without(request.data, {fault.field for fault in told})
        reader = view.get_serializer_class()(
            data=rest, context=view.get_serializer_context(), partial=True
        )
        if not reader.is_valid():
            raise
        try:
            found = judge(reader.validated_data)
        except Refusal:  # what cannot be written goes before what stands in the way of it
            raise unread from None
        more = _beside(found, {fault.field for fault in told})
        raise ValidationError(tree_of([*told, *more])) from unread


def _without(given: Any, paths: Iterable[str], at: str = "") -> Any:
    """A body without the members at these dotted paths; rows keep their places."""
    if isinstance(given, Mapping):
        below = {name: f"{at}.{name}" if at else str(name) for name in given}
        return {
            name: _without(value, paths, below[name])
            for name, value in given.items()
            if below[name] not in paths
        }
    if isinstance(given, list):
        return [_without(value, paths, f"{at}.{index}") for index, value in enumerate(given)]
    return given


def _beside(faults: Sequence[Fault], unread: set[str]) -> list[Fault]:
    """Faults that do not come of what was not read.

    What a line is of is named by two members; sums over all lines and charges are not known while
    one of them is not.
    """
    hidden = set(unread)
    for path in unread:
        row, _, member = path.rpartition(".")
        if member in ("material", "offer", "position", "scan"):
            hidden |= {row, f"{row}.material", f"{row}.offer", f"{row}.position", f"{row}.scan"}
        if row:
            hidden |= {"charges", "lines"}
    return [fault for fault in faults if fault.field not in hidden]


class OrderLineAtSerializer(StrictSerializer):
    """A line of a purchase order."""

    order = CodeField()
    position = serializers.IntegerField(min_value=1, max_value=10_000)


class DeliveryLineSerializer(AnswerSerializer):
    """One line: as written, in the stock unit, and the lot that it became."""

    shows = DeliveryLine
    says = (
        *("position", "material.code as material", "offer.code as offer", "order_line", "packs"),
        *("written", "amount", "density_g_ml", "lot.code as lot", "price", "landed_cost"),
    )
    counted = "material.counted"
    cost_fields = ("price", "landed_cost")
    density_g_ml = DecimalTextField(places=6, allow_null=True, help_text="Used to weigh a volume.")
    order_line = OrderLineAtSerializer(allow_null=True)


class DeliveryChargeSerializer(StrictSerializer):
    """Freight, duty, a discount (below zero), spread over the lines by value or by weight."""

    kind = serializers.ChoiceField([one.value for one in ChargeKind])
    amount = MoneyField(allow_negative=True)
    basis = serializers.ChoiceField([one.value for one in Basis], required=False)


class DeliverySerializer(AnswerSerializer):
    """A delivery as received; it is corrected by counts, never edited."""

    shows = Delivery
    says = (
        *("code", "supplier.code as supplier", "invoice", "received_on", "note", "created_at"),
        *("by.username as by", "lines", "charges"),
    )
    cost_fields = ("charges",)
    charges = DeliveryChargeSerializer(many=True)


class ReceivedLineSerializer(MeasuredFields, StrictSerializer):
    """One line of the invoice; it becomes one lot.

    Name an `offer` and its `packs`, or a `material` and what each pack holds as `written`; with
    both, `written` is what a pack of the offer really held. Without a price, the offer's.
    """

    cost_fields = ("price",)
    material = CodeField(required=False)
    offer = CodeField(required=False)
    packs = serializers.IntegerField(min_value=1, required=False)
    written = PackField(required=False, help_text='One pack: "1 gal", "35 lb", "12 each".')
    price = MoneyField(required=False, help_text="Of the whole line.")
    order_line = OrderLineAtSerializer(required=False)
    lot_code = CodeField(required=False, help_text="The studio's next, if left out.")
    supplier_lot = serializers.CharField(max_length=60, required=False, allow_blank=True)
    best_before = serializers.DateField(required=False)
    state = serializers.ChoiceField(
        [one.value for one in LotState],
        required=False,
        help_text="What is asked for: in quarantine until it was checked, or blocked.",
    )
    state_reason = serializers.CharField(max_length=200, required=False, allow_blank=True)
    weight = BaseQuantityField(
        unit="g",
        source="weight_ng",
        required=False,
        help_text="Only to spread a charge by weight over what is counted.",
    )
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class ConfirmField(serializers.ListField):
    """Codes of faults that are meant so."""

    def __init__(self, **kwargs: Any) -> None:
        words = (
            f'"{INVOICE_AGAIN}" takes in another part of an invoice that is in the books; the'
            " others say that certificates were read again and are so."
        )
        codes = [INVOICE_AGAIN, *UNUSUAL]
        super().__init__(
            child=serializers.ChoiceField(codes),
            required=False,
            max_length=len(codes),
            help_text=words,
            source="confirmed",
            **kwargs,
        )


class ReceivedSerializer(StrictSerializer):
    """A delivery to take in."""

    cost_fields = ("charges",)
    supplier = CodeField()
    received_on = serializers.DateField()
    invoice = serializers.CharField(max_length=60, required=False, allow_blank=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    confirm = ConfirmField()
    lines = ReceivedLineSerializer(many=True)
    charges = DeliveryChargeSerializer(many=True, required=False)


def _read(view: StudioView, request: Request) -> Any:
    """The body, with all that is wrong with the delivery told at once."""
    return read_or_tell_all(view, request, lambda rest: faults_of_delivery(_received(rest)))


class DeliveryViewSet(ReadOnlyStudioViewSet):
    """What came in, newest first. POST takes a delivery in and opens a lot for each line."""

    queryset = (
        Delivery.objects.select_related("supplier", "by")
        .prefetch_related(
            Prefetch(
                "lines",
                DeliveryLine.objects.select_related(
                    "material", "offer", "lot", "order_line__order"
                ),
            ),
            "charges",
        )
        .order_by("-id")
    )
    serializer_class = DeliverySerializer
    filterset_class = DeliveryFilter
    ordering = ("-id",)

    @verb(Capability.KEEP_STOCK, given=ReceivedSerializer, status=201, read=_read)
    def create(self, request: Request, given: Any) -> Any:
        """Take a delivery in: its lots with their landed cost, and what it brings of orders."""
        delivery = receive_delivery(_received(given), by=caller(request))
        return self.made(self.get_queryset().get(pk=delivery.pk))


def _received(given: Any) -> Received:
    """The delivery of a body that was read; of one that was read in part, what there is of it."""
    apart = ("supplier", "received_on", "lines", "charges", "confirmed")
    return Received(
        supplier=given.get("supplier", ""),
        received_on=given.get("received_on") or timezone.localdate(),
        lines=[_line(line) for line in given.get("lines", ())],
        charges=[read_charge(charge) for charge in given.get("charges", ())],
        confirmed=frozenset(given.get("confirmed", ())),
        **{name: value for name, value in given.items() if name not in apart},
    )


def _line(given: Any) -> ReceivedLine:
    given = dict(given)
    at = given.pop("order_line", None)
    if at and len(at) == len(OrderLineAt.__dataclass_fields__):
        given["order_line"] = OrderLineAt(**at)
    if "state" in given:
        given["state"] = LotState(given["state"])
    return ReceivedLine(certificate=Certificate.out_of(given), **given)


def read_charge(given: Any) -> Charge:
    """A charge of an invoice from its body; spread by value unless it says otherwise.

    One that was read in part is a charge of nothing.
    """
    basis = Basis(given["basis"]) if "basis" in given else Basis.VALUE
    kind = ChargeKind(given.get("kind", ChargeKind.OTHER))
    amount = given.get("amount", 0) if "kind" in given else 0
    return Charge(kind=kind, amount=amount, basis=basis)
