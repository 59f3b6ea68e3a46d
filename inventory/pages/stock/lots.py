"""A lot's page: what is left, what happened to it, what its certificate says, its trace."""

from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.certificate import VALUES, Value
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.contents import Contents
from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from inventory.pages.shipping.lot_trace import trace_graph
from inventory.pages.stock.lot_holds import shown_holds
from inventory.pages.words import VERBS, document, measured, shown_lots, units_of
from inventory.queries.stock.certificates import unusual_values
from inventory.queries.stock.contents import contents_of
from inventory.queries.stock.lot_history import LedgerLine, held_lines, history_of, lot_at
from studio.foundation.drawing.stock_bar import stock_bar
from studio.foundation.histories import kept_rows
from studio.foundation.roles import Capability, capabilities_of
from studio.foundation.units.writing import grams, percent
from studio.web.pages.histories import history_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page

_MILLI = Decimal("0.001")
#: It dries while it cures.
_SOAP = frozenset({MaterialKind.BATTER, MaterialKind.BAR})


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownEntry:
    """An entry of the ledger in words, with the balance after it and its document's page."""

    line: LedgerLine
    verb: str
    words: str
    href: str
    reserved_only: bool
    entered_later: bool


@page(Capability.READ, methods=GET)
def lot_page(request: HttpRequest, code: str) -> HttpResponse:
    """One lot."""
    lot = lot_at(code)
    units, counted = units_of(request.user), lot.material.counted
    graph, above, made = trace_graph(code)
    below = len(made.lots) - 1
    delivery = getattr(lot, "delivery_line", None)
    context = {
        "lot": lot,
        "shown": shown_lots([lot], on=timezone.localdate())[0],
        "bar": stock_bar(
            prefix="stock",
            title=f"Stock of lot {code}",
            on_hand=measured(lot.on_hand, counted=counted, units=units),
            reserved=measured(lot.reserved, counted=counted, units=units),
            scale_max=lot.received_amount,
        ),
        "holds": shown_holds(lot, capabilities_of(request.user)),
        "held": [(line, *document(line.reservation.holder)) for line in held_lines(lot)],
        "entries": [_entry(line) for line in history_of(lot)],
        "certificate": _certificate(lot),
        "unusual": unusual_values(lot),
        "contents": _contents(lot, contents_of([lot.pk])[lot.pk]),
        "allergens": lot.certificate.allergens,
        "delivery": delivery,
        "graph": graph if above or below else None,
        "above": above,
        "below": below,
        "still_free": [each for each in made.standing if each.state == LotState.RELEASED.value],
        "labels": page_address("lot-label-sheet", code),
    }
    return render(request, "inventory/stock/lot.html", context)


@page(Capability.READ, methods=GET)
def lot_history_page(request: HttpRequest, code: str) -> HttpResponse:
    """What was changed of a lot, apart from its stock: that stands on its page."""
    lot = lot_at(code)
    back = page_address("lot-page", code)
    return history_page(request, kept_rows(Lot, id=lot.pk), of=f"Lot {lot.code}", back=back)


def _entry(line: LedgerLine) -> ShownEntry:
    words, href = document(line.entry.reference)
    return ShownEntry(
        line=line,
        verb=VERBS.get(line.entry.verb, line.entry.verb),
        words=words,
        href=href,
        reserved_only=not line.entry.on_hand,
        entered_later=timezone.localdate(line.entry.at) != line.entry.on,
    )


def _certificate(lot: Lot) -> list[tuple[str, str, str]]:
    """What the certificate states and what is usual: name, the lot's value, the material's."""
    rows = [
        (
            value.short or value.label,
            _written(getattr(lot, name), value),
            # A lot may be certified in what its material has no usual value of.
            _written(getattr(lot.material, name, None), value),
        )
        for name, value in VALUES.items()
        if not value.qualifies
    ]
    return [row for row in rows if row[1] or row[2]]


def _contents(lot: Lot, contents: Contents) -> list[tuple[str, str]]:
    """What follows from all that went into a lot that was made here; nothing of what was bought."""
    if {leaf.lot for leaf in contents.leaves} == {lot.code}:
        return []
    shares = (
        ("Pure NaOH", contents.naoh.usual),
        ("Pure KOH", contents.koh.usual),
        ("Water, as poured" if lot.material.kind in _SOAP else "Water", contents.water),
        *((f"{scent.name}, inside", share) for scent, share in contents.scents.items()),
    )
    rows = [(name, percent(share)) for name, share in shares if share]
    if contents.demand is None:
        rows.append(("Saponification value of the whole", "not known: a fat in it has none"))
    elif contents.demand:
        value = f"{contents.demand.usual.quantize(_MILLI).normalize():f} mg KOH/g"
        rows.append(("Saponification value of the whole", value))
    if lot.steam:
        rows.append(("Steamed off", grams(lot.steam)))
    if contents.strained:
        names = sorted({leaf.name for leaf in contents.strained})
        rows.append(("Infused with", ", ".join(names)))
    return rows


def _written(number: Decimal | None, value: Value) -> str:
    if number is None:
        return ""
    shown = number * 100 if value.is_share else number
    return f"{shown.normalize():f} {value.unit or '%'}"
