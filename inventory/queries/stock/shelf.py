"""The shelf as lists: what stands there of each material, which run low, and place by place."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q, QuerySet

from inventory.domain.buying.projection import Assessment, assess
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Location, Lot
from inventory.queries.stock.positions import StockPosition, stock_positions
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfRow:
    """A material with its position and whether it runs low."""

    material: Material
    position: StockPosition
    verdict: Assessment


def materials_found(
    *, text: str = "", kind: str = "", with_old: bool = False
) -> QuerySet[Material]:
    """Materials whose name, code or INCI name holds the text, of a kind where one is given."""
    found = Material.objects.all()
    if not with_old:
        found = found.filter(active=True)
    if kind:
        found = found.filter(kind=kind)
    if text:
        found = found.filter(
            Q(name__icontains=text) | Q(code__icontains=text) | Q(inci_name__icontains=text)
        )
    return found


def shelf_rows(materials: Sequence[Material], *, on: date) -> list[ShelfRow]:
    """The rows of these materials, in their order. Five queries, none for no material."""
    if not materials:
        return []
    positions = stock_positions(on=on, materials=[material.pk for material in materials])
    return [_row(material, positions[material.pk]) for material in materials]


def low_materials(*, on: date) -> list[StockPosition]:
    """The positions of all materials in use that run low, by name. Five queries."""
    positions = stock_positions(on=on).values()
    low = [each for each in positions if assess(each.snapshot, each.reorder_point).low]
    return sorted(low, key=lambda each: (each.name, each.material_id))


def lots_found(
    *, text: str = "", state: str = "", place: str = "", with_empty: bool = False
) -> QuerySet[Lot]:
    """Lots whose code, supplier's lot or material holds the text, with what a list shows."""
    found = Lot.objects.select_related("material", "supplier", "location")
    if not with_empty:
        found = found.filter(on_hand__gt=0)
    if state:
        found = found.filter(state=state)
    if place:
        found = found.filter(location__code=place)
    if text:
        found = found.filter(
            Q(code__icontains=text)
            | Q(supplier_lot__icontains=text)
            | Q(material__name__icontains=text)
            | Q(material__code__icontains=text)
        )
    return found


def _row(material: Material, position: StockPosition) -> ShelfRow:
    return ShelfRow(
        material=material,
        position=position,
        verdict=assess(position.snapshot, position.reorder_point),
    )


def locations_found(*, text: str = "", with_old: bool = False) -> QuerySet[Location]:
    """Places whose name or code holds the text, with how many lots stand there (`lots_there`)."""
    found = Location.objects.annotate(lots_there=Count("lots", filter=Q(lots__on_hand__gt=0)))
    if not with_old:
        found = found.filter(active=True)
    if text:
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return found


def location_at(code: str) -> Location:
    """A place by its code, with its `lots_there`. One query. Raises NotFound."""
    found = locations_found(with_old=True).filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no location {code}.", field="location")
    return found


def places_to_count() -> list[tuple[str, str]]:
    """Places that are in use, or where something stands still: code and name. One query."""
    places = Location.objects.filter(Q(active=True) | Q(lots__on_hand__gt=0)).distinct()
    return list(places.order_by("name").values_list("code", "name"))
