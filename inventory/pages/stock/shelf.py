"""The shelf: every material with what is free, held and due to be ordered."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Location
from inventory.pages.words import measured, shown_lots, units_of
from inventory.queries.stock.positions import StockPosition
from inventory.queries.stock.shelf import (
    ShelfRow,
    lots_found,
    low_materials,
    materials_found,
    shelf_rows,
)
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.stock_bar import stock_bar
from studio.foundation.roles import Capability
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page

#: So many of the materials that run low are named in the answer.
NAMED = 4
KINDS = [("", "Every kind"), *((kind.value, kind.value.capitalize()) for kind in MaterialKind)]


class ShelfFilter(forms.Form):
    """What is looked for on the shelf."""

    q = forms.CharField(required=False, max_length=100, label="Name, code or INCI name")
    kind = forms.ChoiceField(required=False, choices=KINDS)
    low = forms.BooleanField(required=False, label="Runs low")
    old = forms.BooleanField(required=False, label="With those no longer used")


class LotFilter(forms.Form):
    """What is looked for among the lots."""

    q = forms.CharField(required=False, max_length=100, label="Lot, supplier's lot or material")
    state = forms.ChoiceField(
        required=False,
        label="State",
        choices=[("", "Any"), *((one.value, one.value.capitalize()) for one in LotState)],
    )
    place = forms.ChoiceField(required=False)
    empty = forms.BooleanField(required=False, label="With those used up")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = Location.objects.order_by("name").values_list("code", "name")
        self.fields["place"].choices = [("", "Anywhere"), *places]  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A material as the list draws it."""

    row: ShelfRow
    bar: Chart


@page(Capability.READ, methods=GET)
def shelf(request: HttpRequest) -> HttpResponse:
    """All materials by name, with their stock as bars."""
    form = ShelfFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    today = timezone.localdate()
    # While somebody types only the rows are swapped: the answer above them stays.
    answering = not getattr(request, "htmx", False)
    low = low_materials(on=today) if answering or given.get("low") else []
    rows = list_page(request, _found(given, low), order=("name", "id"), filters=form)
    units = units_of(request.user)
    context = {
        "rows": rows,
        "shown": [_shown(row, units) for row in shelf_rows(rows.rows, on=today)],
        "low": low,
        "named": low[:NAMED],
        "more": max(0, len(low) - NAMED),
    }
    return render(request, "inventory/stock/shelf.html", context)


@page(Capability.READ, methods=GET)
def lot_list(request: HttpRequest) -> HttpResponse:
    """All lots that hold something, the newest first."""
    form = LotFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = lots_found(
        text=given.get("q", ""),
        state=given.get("state", ""),
        place=given.get("place", ""),
        with_empty=given.get("empty", False),
    )
    rows = list_page(request, found, order=("-id",), filters=form)
    shown = shown_lots(rows.rows, on=timezone.localdate())
    return render(request, "inventory/stock/lots.html", {"rows": rows, "shown": shown})


def _found(given: dict[str, Any], low: list[StockPosition]) -> QuerySet[Material]:
    found = materials_found(
        text=given.get("q", ""), kind=given.get("kind", ""), with_old=given.get("old", False)
    )
    if given.get("low"):
        found = found.filter(pk__in=[each.material_id for each in low])
    return found


def _shown(row: ShelfRow, units: str) -> ShownRow:
    stock, mark = row.position, row.position.reorder_point

    def amount(value: int) -> Any:
        return measured(value, counted=stock.counted, units=units)

    bar = stock_bar(
        prefix=f"stock-{stock.material_id}",
        title=f"Stock of {stock.name}",
        size="row",
        on_hand=amount(stock.on_hand),
        reserved=amount(stock.reserved),
        mark=None if mark is None else amount(mark),
        scale_max=max(stock.reorder_to or 0, 2 * (mark or 0)),
    )
    return ShownRow(row, bar)
