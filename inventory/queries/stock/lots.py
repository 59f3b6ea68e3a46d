"""Lots by what stands on their containers."""

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.stock.lots import Lot, LotLink
from studio.foundation.errors import NotFound


def find_lot(*, material: str, supplier_lot: str) -> Lot:
    """The oldest lot of a material under the supplier's lot code, with its recalls. Two queries.

    Raises NotFound.
    """
    lot = (
        Lot.objects.filter(material__code=material, supplier_lot=supplier_lot)
        .prefetch_related("recalls")
        .order_by("id")
        .first()
    )
    if lot is None:
        raise NotFound(f"There is no lot {supplier_lot} of {material}.", field="supplier_lot")
    return lot


def lots_to_count() -> list[Lot]:
    """Every lot that holds something on a shelf (poured soap stands in its mold). One query."""
    held = Lot.objects.filter(on_hand__gt=0).exclude(material__kind=MaterialKind.BATTER.value)
    return list(held.select_related("material").order_by("id"))


def went_into(lot: Lot) -> list[tuple[Lot, int]]:
    """The lots that went into a made lot, with the stock units of each, as taken. One query."""
    links = LotLink.objects.filter(child=lot).select_related("parent__material").order_by("id")
    return [(link.parent, link.amount) for link in links]
