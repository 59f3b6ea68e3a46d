"""The lines of a delivery read against what is known, and what they would cost to land."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Self

from django.db import transaction

from inventory.domain.catalog.certificate import check_certificate
from inventory.domain.catalog.packs import PackAmount, pack_amount
from inventory.domain.catalog.unusual import check_unusual
from inventory.domain.receiving.landed_cost import DeliveryLine as CostLine
from inventory.domain.receiving.landed_cost import LandedLine, allocate
from inventory.domain.stock.freshness import check_best_before
from inventory.domain.stock.lots import LotState
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.models.stock.lots import Lot
from inventory.services.buying.orders import lock_order_lines
from inventory.services.catalog.suppliers import pack_of
from inventory.services.receiving.received import OrderLineAt, Received, ReceivedLine
from studio.foundation.errors import Fault, Faults, Refusal
from studio.foundation.money import MAX_MONEY
from studio.work.cleaning import take_field_faults

#: Codes the studio gives out itself, also to what batches make (B-00042-poured); a lot's own code
#: must never run into them.
_GIVEN_OUT = re.compile(r"[A-Z]{1,2}-[0-9]+(?:-[a-z]+)?", re.ASCII)
LOT_WORDS = ("supplier_lot", "note")
LOT_TEXTS = (*LOT_WORDS, "state_reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the lines of one delivery name, loaded at once and locked where it must hold."""

    materials: Mapping[str, Material]
    offers: Mapping[str, Offer]
    order_lines: Mapping[OrderLineAt, PurchaseOrderLine]
    taken_codes: frozenset[str]

    @classmethod
    def for_delivery(cls, received: Received) -> Self:
        """Load and lock, in the order material, order. Six queries for any number of lines."""
        lines = received.lines
        offers = {
            offer.code: offer
            for offer in Offer.objects.filter(
                code__in={line.offer for line in lines if line.offer}
            ).select_related("material", "supplier")
        }
        codes = {line.material for line in lines} | {o.material.code for o in offers.values()}
        # Locked so that no material changes its unit between weighing and opening the lot.
        materials = {
            material.code: material
            for material in Material.objects.select_for_update(no_key=True)
            .filter(code__in=codes)
            .order_by("pk")
        }
        for offer in offers.values():
            offer.material = materials[offer.material.code]
        taken = Lot.objects.filter(code__in={line.lot_code for line in lines if line.lot_code})
        return cls(
            materials=materials,
            offers=offers,
            order_lines=_ordered({line.order_line for line in lines if line.order_line}),
            taken_codes=frozenset(taken.values_list("code", flat=True)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLine:
    """A line that can be received: `pack` is what all its packs hold."""

    line: ReceivedLine
    material: Material
    offer: Offer | None
    order_line: PurchaseOrderLine | None
    pack: PackAmount
    written: str
    price: int

    @property
    def cost_line(self) -> CostLine:
        """The line as landed cost sees it; what is counted weighs what its pieces weigh."""
        weight = self.line.weight_ng
        if weight is None and (not self.material.counted or self.material.piece_mass):
            weight = self.material.mass_of(self.pack.amount)
        return CostLine(name=self.material.name, price=self.price, weight_ng=weight)

    @property
    def booked(self) -> int:
        """What counts against the order line, in stock units.

        Packs of the ordered offer count as they were ordered, so that a lot with a density of its
        own doesn't leave a spoonful open; anything else counts by its amount.
        """
        ordered = self.order_line
        if ordered is not None and self.offer is not None and ordered.offer_id == self.offer.pk:
            return self.line.packs * int(ordered.amount // ordered.packs)
        return self.pack.amount


def read_line(
    faults: Faults, line: ReceivedLine, *, known: Known, received: Received, under: str
) -> ReadLine | None:
    """A line with what it names, or None; every reason against it goes to `faults`."""
    _check_words(faults, line, under=under)
    _check_lot_code(faults, line, known=known, under=under)
    offer = _offer_of(faults, line, known=known, received=received, under=under)
    material = _material_of(faults, line, offer, known=known, under=under)
    order_line = _order_line_of(faults, line, material, known=known, received=received, under=under)
    price = _price_of(faults, line, offer, under=under)
    check_certificate(faults, line.certificate, material=material, under=under)
    check_best_before(
        faults,
        line.best_before,
        received_on=received.received_on,
        shelf_life_days=None if material is None else material.shelf_life_days,
        field=f"{under}.best_before",
    )
    if material is None:
        return None
    check_unusual(faults, line.certificate, material, confirmed=received.confirmed, under=under)
    written = line.written or (offer.pack_written if offer else "")
    try:
        pack = _pack(line, material, offer)
    except Refusal as refusal:
        faults.take(refusal, f"{under}.written" if line.written or not offer else f"{under}.packs")
        return None
    return ReadLine(
        line=line,
        material=material,
        offer=offer,
        order_line=order_line,
        pack=pack,
        written=written,
        price=price,
    )


def _ordered(wanted: set[OrderLineAt]) -> dict[OrderLineAt, PurchaseOrderLine]:
    """The order lines named, their orders locked. Three queries, none without orders."""
    if not wanted:
        return {}
    named = PurchaseOrderLine.objects.filter(
        order__code__in={at.order for at in wanted}, position__in={at.position for at in wanted}
    )
    lines = lock_order_lines(list(named.values_list("pk", flat=True)))
    found = {
        OrderLineAt(order=row.order.code, position=row.position): row for row in lines.values()
    }
    return {at: found[at] for at in wanted if at in found}


def _pack(line: ReceivedLine, material: Material, offer: Offer | None) -> PackAmount:
    """What the line's packs hold, by the lot's density, else the offer's, else the material's."""
    stated = line.certificate.density_g_ml
    if offer is not None and not line.written:
        pack = pack_of(offer, packs=line.packs, stated_g_ml=stated)
        if stated is None:
            # As the order counted it: packs times the rounded pack, not rounded anew.
            pack = replace(pack, amount=line.packs * offer.pack_amount)
        return pack
    if stated is None and offer is not None:
        stated = offer.density_g_ml
    return pack_amount(
        line.written,
        counted=material.counted,
        packs=line.packs,
        stated_g_ml=stated,
        nominal_g_ml=material.density_g_ml,
    )


def _check_words(faults: Faults, line: ReceivedLine, *, under: str) -> None:
    lot = Lot(**{name: getattr(line, name) for name in LOT_TEXTS})
    take_field_faults(faults, lot, only=LOT_TEXTS, under=under)
    if line.state is LotState.BLOCKED and not line.state_reason.strip():
        faults.add("reason-missing", "Say why the lot is blocked.", f"{under}.state_reason")


def _check_lot_code(faults: Faults, line: ReceivedLine, *, known: Known, under: str) -> None:
    path = f"{under}.lot_code"
    if not line.lot_code:
        return
    shown = Faults()
    take_field_faults(shown, Lot(code=line.lot_code), only=("code",))
    for fault in shown.found:
        faults.add(fault.code, fault.message, path)
    if line.lot_code in known.taken_codes:
        faults.add("code-taken", f"There is a lot {line.lot_code} already.", path)
    if _GIVEN_OUT.fullmatch(line.lot_code):
        faults.add(
            "code-given-out",
            "Codes such as L-00042 are given out by the studio; choose another form.",
            path,
        )


def _offer_of(
    faults: Faults, line: ReceivedLine, *, known: Known, received: Received, under: str
) -> Offer | None:
    if not line.offer:
        return None
    offer = known.offers.get(line.offer)
    if offer is None:
        faults.add("not-found", f"There is no offer {line.offer}.", f"{under}.offer")
    elif offer.supplier.code != received.supplier:
        faults.add(
            "other-supplier",
            f"Offer {offer.code} is of {offer.supplier.name}, who did not send this.",
            f"{under}.offer",
        )
    return offer


def _material_of(
    faults: Faults, line: ReceivedLine, offer: Offer | None, *, known: Known, under: str
) -> Material | None:
    if offer is not None:
        if line.material and line.material != offer.material.code:
            faults.add(
                "other-material",
                f"Offer {offer.code} is of {offer.material.name}.",
                f"{under}.material",
            )
        return offer.material
    if line.offer:
        return None
    material = known.materials.get(line.material)
    if not line.material:
        faults.add("nothing-named", "Name the offer or the material.", f"{under}.material")
    elif material is None:
        faults.add("not-found", f"There is no material {line.material}.", f"{under}.material")
    return material


def _order_line_of(
    faults: Faults,
    line: ReceivedLine,
    material: Material | None,
    *,
    known: Known,
    received: Received,
    under: str,
) -> PurchaseOrderLine | None:
    if line.order_line is None:
        return None
    path, at = f"{under}.order_line", line.order_line
    ordered = known.order_lines.get(at)
    if ordered is None:
        faults.add("not-found", f"There is no line {at.position} of an order {at.order}.", path)
        return None
    if ordered.order.supplier.code != received.supplier:
        faults.add("other-supplier", f"Order {at.order} went to another supplier.", path)
    if material is not None and ordered.material_id != material.pk:
        faults.add("other-material", "That line of the order is for another material.", path)
    if ordered.order.state == PurchaseOrder.State.DRAFT:
        faults.add("order-not-placed", f"Order {at.order} was not placed yet.", path)
    if ordered.order.state == PurchaseOrder.State.CANCELLED:
        faults.add("order-cancelled", f"Order {at.order} was cancelled.", path)
    return ordered


def _price_of(faults: Faults, line: ReceivedLine, offer: Offer | None, *, under: str) -> int:
    price = line.price
    if price is None and offer is not None:
        price = offer.price_of(line.packs)
    if price is None:
        faults.add("price-missing", "Say what the line costs.", f"{under}.price")
        return 0
    if price > MAX_MONEY:
        faults.add("out-of-range", "That price is more than can be kept.", f"{under}.price")
        return 0
    return price


@dataclass(frozen=True, slots=True, kw_only=True)
class LandedPreview:
    """The lines that can be read (None: not yet), their landed costs, and what is in the way.

    `landed` is empty until every line can be read and the charges can be spread.
    """

    lines: Sequence[ReadLine | None]
    landed: Sequence[LandedLine]
    faults: Sequence[Fault]

    @property
    def total(self) -> int:
        """The landed cost of all lines (ten-thousandths)."""
        return sum(line.cost for line in self.landed)


@transaction.atomic
def preview_delivery(received: Received) -> LandedPreview:
    """Read a delivery as `receive_delivery` would and spread its charges. Writes nothing.

    At most six queries for any number of lines.
    """
    faults = Faults()
    known = Known.for_delivery(received)
    lines = [
        read_line(faults, line, known=known, received=received, under=f"lines.{index}")
        for index, line in enumerate(received.lines)
    ]
    landed: Sequence[LandedLine] = ()
    ready = [line.cost_line for line in lines if line is not None]
    if ready and len(ready) == len(lines) and not faults:
        try:
            landed = allocate(ready, received.charges)
        except Refusal as refusal:
            faults.take(refusal, "charges")
    return LandedPreview(lines=lines, landed=landed, faults=tuple(faults.found))
