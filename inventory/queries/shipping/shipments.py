"""Shipments: by what customers know them by, and what of them is out still."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet, Sum

from inventory.models.shipping.shipments import Shipment, ShipmentLine, ShipmentReturn
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """How many pieces left, and how many of them came back."""

    pieces: int = 0
    back: int = 0

    @property
    def out(self) -> int:
        """Pieces that are with the customer."""
        return self.pieces - self.back


@dataclass(frozen=True, slots=True)
class LeftLine:
    """A shipped line with its returns."""

    line: ShipmentLine
    returns: tuple[ShipmentReturn, ...]

    @property
    def back(self) -> int:
        """Pieces that came back."""
        return sum(one.amount for one in self.returns)

    @property
    def out(self) -> int:
        """Pieces that are with the customer."""
        return self.line.amount - self.back

    @property
    def cost_out(self) -> int:
        """The cost that is out with them (ten-thousandths)."""
        return self.line.cost - sum(one.cost for one in self.returns)


def find_shipment(*, customer: str, reference: str) -> Shipment | None:
    """The newest shipment to a customer under an order of theirs. One query."""
    return (
        Shipment.objects.filter(customer_name=customer, reference=reference).order_by("-id").first()
    )


def shipments_found(
    *, text: str = "", since: date | None = None, until: date | None = None
) -> QuerySet[Shipment]:
    """Shipments by code, customer, reference or lot, that left in a span of days."""
    found = Shipment.objects.all()
    if since is not None:
        found = found.filter(shipped_on__gte=since)
    if until is not None:
        found = found.filter(shipped_on__lte=until)
    if text:
        of_lot = ShipmentLine.objects.filter(lot__code__icontains=text).values("shipment")
        found = found.filter(
            Q(code__icontains=text)
            | Q(customer_name__icontains=text)
            | Q(reference__icontains=text)
            | Q(pk__in=of_lot)
        )
    return found


def left_with(shipments: Iterable[Shipment]) -> dict[int, Left]:
    """What left with each of these, by id. Two queries."""
    ids = [one.pk for one in shipments]
    lines = ShipmentLine.objects.filter(shipment__in=ids).values("shipment")
    pieces = dict(lines.annotate(sum=Sum("amount")).values_list("shipment", "sum"))
    returns = ShipmentReturn.objects.filter(line__shipment__in=ids).values("line__shipment")
    back = dict(returns.annotate(sum=Sum("amount")).values_list("line__shipment", "sum"))
    return {pk: Left(pieces=pieces.get(pk, 0), back=back.get(pk, 0)) for pk in ids}


def shipment_at(code: str) -> Shipment:
    """A shipment by its code. One query. Raises NotFound."""
    found = Shipment.objects.select_related("by").filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no shipment {code}.", field="shipment")
    return found


def lines_left(shipment: Shipment) -> list[LeftLine]:
    """The lines of a shipment with what came back, and by whom. Three queries."""
    lines = shipment.lines.select_related("lot__material").prefetch_related("returns__by")
    return [LeftLine(line, tuple(line.returns.all())) for line in lines.order_by("position")]
