"""The stock position: what is to be expected of each material, from all that is known."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet, Sum

from inventory.domain.buying.projection import MaterialSnapshot, project
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.catalog.materials import wanted_materials
from inventory.queries.stock.on_hand import fresh, usable
from inventory.queries.stock.on_order import on_order
from inventory.queries.stock.supplies import being_made, open_requirements


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPosition:
    """One material's stock on a day, in its stock unit (ng or pieces).

    `on_hand` is what may be used: released and not past its best before. `quarantine` may become
    usable and `unusable` (blocked or expired) will not; neither is counted on. `reserved` is all
    that is promised, from unusable lots too: that need is still there and other stock must cover
    it; `reserved_usable` is the part of it that is held in usable lots. `planned` is required
    beyond what its holders have reserved, and `being_made` is what planned batches will make.
    """

    material_id: int
    code: str
    name: str
    counted: bool
    reorder_point: int | None
    reorder_to: int | None
    on_hand: int = 0
    quarantine: int = 0
    unusable: int = 0
    reserved: int = 0
    reserved_usable: int = 0
    planned: int = 0
    on_order: int = 0
    being_made: int = 0

    @property
    def available(self) -> int:
        """What may be reserved or used now."""
        return self.on_hand - self.reserved_usable

    @property
    def projected(self) -> int:
        """On hand - reserved - planned + on order + being made."""
        return project(
            on_hand=self.on_hand,
            reserved=self.reserved,
            planned=self.planned,
            on_order=self.on_order,
            being_made=self.being_made,
        )

    @property
    def snapshot(self) -> MaterialSnapshot:
        """The same as the rules of projection take it."""
        return MaterialSnapshot(
            material=self.material_id,
            name=self.name,
            counted=self.counted,
            on_hand=self.on_hand,
            reserved=self.reserved,
            planned=self.planned,
            on_order=self.on_order,
            being_made=self.being_made,
        )


def stock_positions(
    *, on: date, materials: "QuerySet[Material] | Iterable[int] | None" = None
) -> dict[int, StockPosition]:
    """The positions on a day by material id, in order of code. Five queries for any number.

    `materials` is a queryset of materials or their ids; None means every active material.
    """
    wanted = wanted_materials(materials)
    ids: Any = None if materials is None else wanted.order_by().values("pk")
    held = _held(ids, on=on)
    planned = _planned(ids)
    ordered = on_order(None if materials is None else ids)
    made = being_made(None if materials is None else ids)
    fields = ("pk", "code", "name", "counted", "reorder_point", "reorder_to")
    return {
        pk: StockPosition(
            material_id=pk,
            code=code,
            name=name,
            counted=counted,
            reorder_point=point,
            reorder_to=up_to,
            planned=planned.get(pk, 0),
            on_order=ordered.get(pk, 0),
            being_made=made.get(pk, 0),
            **held.get(pk, {}),
        )
        for pk, code, name, counted, point, up_to in wanted.order_by("code").values_list(*fields)
    }


def _held(ids: "QuerySet[Material, Any] | None", *, on: date) -> Mapping[int, dict[str, int]]:
    """Sums over the lots by material id, under the names of the position's fields. One query."""
    lots = Lot.objects.filter(on_hand__gt=0)
    if ids is not None:
        lots = lots.filter(material__in=ids)
    waiting = Q(state=LotState.QUARANTINE.value) & fresh(on)
    rows = lots.values("material").annotate(
        # Not under the names of the columns, which would hide them from the sums that follow.
        sum_on_hand=Sum("on_hand", filter=usable(on), default=0),
        sum_quarantine=Sum("on_hand", filter=waiting, default=0),
        sum_all=Sum("on_hand"),
        sum_reserved=Sum("reserved"),
        sum_reserved_usable=Sum("reserved", filter=usable(on), default=0),
    )
    return {
        row["material"]: {
            "on_hand": int(row["sum_on_hand"]),
            "quarantine": int(row["sum_quarantine"]),
            "unusable": int(row["sum_all"] - row["sum_on_hand"] - row["sum_quarantine"]),
            "reserved": int(row["sum_reserved"]),
            "reserved_usable": int(row["sum_reserved_usable"]),
        }
        for row in rows.order_by()
    }


def _planned(ids: "QuerySet[Material, Any] | None") -> dict[int, int]:
    """What holders require beyond what they have reserved, by material id. One query."""
    needed = open_requirements()
    if ids is not None:
        needed = needed.filter(material__in=ids)
    rows = needed.values("material").annotate(total=Sum("open")).order_by()
    return {row["material"]: int(row["total"]) for row in rows}
