"""A material's page: how long it lasts, its lots, its days to come, its prices, its uses."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.descriptions import gaps
from inventory.domain.stock.lots import is_good
from inventory.models.buying.requirements import Requirement
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.models.receiving.deliveries import DeliveryLine
from inventory.pages.words import axis_unit, document, measured, shown_lots, units_of, written_stock
from inventory.queries.buying.projection import project_materials
from inventory.queries.buying.running_out import StockDay, StockOutlook, days_of, outlooks
from inventory.queries.catalog.makers import where_used
from inventory.queries.stock import lot_history
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.curve import DayValue, line_history
from studio.foundation.drawing.projected import Level, StockEvent, projected_stock
from studio.foundation.drawing.scales import Unit
from studio.foundation.drawing.stock_bar import stock_bar
from studio.foundation.histories import kept_rows
from studio.foundation.local_words import written_money
from studio.foundation.roles import Capability, may_see_costs
from studio.foundation.units.writing import percent
from studio.web.pages.histories import history_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page

#: Days that the projection looks ahead, and within which a best before is told of.
AHEAD = 90
SOON = timedelta(days=60)
#: How much of a material its price is told for, by the reader's units: ng of 1 kg and of 1 lb.
PRICED = {"metric": (10**12, "kg"), "us": (453_592_370_000, "lb")}
MONEY_UNIT = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPrice:
    """One purchase with what it cost for a kilogram, a pound or a piece (ten-thousandths)."""

    line: DeliveryLine
    price: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownNeed:
    """What a plan needs of the material, with the address of the plan."""

    need: Requirement
    words: str
    href: str


@page(Capability.READ, methods=GET)
def material_page(request: HttpRequest, code: str) -> HttpResponse:
    """One material, the answer on top."""
    material = lot_history.material_at(code)
    units, today = units_of(request.user), timezone.localdate()
    projected = project_materials(on=today, days=AHEAD, materials=[material.pk])
    outlook = outlooks(projected)[0]
    lots = lot_history.lots_of(material, with_empty="empty" in request.GET)
    free = sum(lot.on_hand - lot.reserved for lot in lots if is_good(lot, on=today))
    context = {
        "material": material,
        "outlook": outlook,
        "free": free,
        "ahead": AHEAD,
        "lots": shown_lots(lots, on=today),
        "with_empty": "empty" in request.GET,
        "expiring": lot_history.expiring(lots, on=today, within=SOON),
        "bar": _bar(material, outlook, units),
        "projection": _projection(material, days_of(projected), units),
        "needs": [_need(each) for each in lot_history.needs_of(material)],
        "made": lot_history.made_with(material),
        "uses": where_used(material.code),
        "gaps": gaps(material),
        "values": _values(material),
        "offers": [],
        "prices": [],
    }
    if may_see_costs(request.user):
        prices = _prices(material, units)
        context |= {
            "prices": prices,
            "per": _per(material, units),
            "price_chart": _price_chart(material, prices, units),
        }
        context["offers"] = _offers(material, units)
    return render(request, "inventory/catalog/material.html", context)


@page(Capability.READ, methods=GET)
def material_history_page(request: HttpRequest, code: str) -> HttpResponse:
    """What was changed of a material."""
    material = lot_history.material_at(code)
    back = page_address("material-page", code)
    return history_page(request, kept_rows(Material, id=material.pk), of=material.name, back=back)


def _bar(material: Material, outlook: StockOutlook, units: str) -> Chart:
    def amount(value: int) -> Any:
        return measured(value, counted=material.counted, units=units)

    point = material.reorder_point
    return stock_bar(
        prefix="stock",
        title=f"Stock of {material.name}",
        on_hand=amount(outlook.on_hand),
        reserved=amount(outlook.reserved),
        mark=None if point is None else amount(point),
        scale_max=max(material.reorder_to or 0, 2 * (point or 0)),
    )


def _projection(material: Material, days: Sequence[StockDay], units: str) -> Chart:
    """The level of each evening, and what comes and is needed on which day."""
    largest = max((abs(day.balance) for day in days), default=0)

    def words(amount: int) -> str:
        return written_stock(amount, counted=material.counted, units=units)

    events = []
    for day in days:
        coming, needed = day.on_order + day.being_made, day.reserved + day.planned
        if coming:
            events.append(
                StockEvent(on=day.on, kind="delivery", label="comes in", text=words(coming))
            )
        if needed:
            events.append(StockEvent(on=day.on, kind="need", label="for plans", text=words(needed)))
    changed = [
        day for index, day in enumerate(days) if not index or day.balance != days[index - 1].balance
    ]
    levels = [Level(on=day.on, level=day.balance, text=words(day.balance)) for day in changed]
    if days and changed[-1].on != days[-1].on:
        last = days[-1]
        levels.append(Level(on=last.on, level=last.balance, text=words(last.balance)))
    point = material.reorder_point
    return projected_stock(
        prefix="projection",
        title=f"Stock of {material.name} in the days to come",
        levels=levels,
        unit=axis_unit(largest, counted=material.counted, units=units),
        reorder=None if point is None else measured(point, counted=material.counted, units=units),
        events=events,
    )


def _need(need: Requirement) -> ShownNeed:
    words, href = document(need.holder)
    return ShownNeed(need=need, words=words, href=href)


def _per(material: Material, units: str) -> tuple[int, str]:
    return (1, "piece") if material.counted else PRICED.get(units, PRICED["metric"])


def _prices(material: Material, units: str) -> list[ShownPrice]:
    size, _ = _per(material, units)
    return [
        ShownPrice(line=line, price=round(Fraction(line.landed_cost * size, line.amount)))
        for line in lot_history.bought(material)
    ]


def _price_chart(material: Material, prices: Sequence[ShownPrice], units: str) -> Chart | None:
    if len(prices) < 2:
        return None
    points = [
        DayValue(
            on=each.line.delivery.received_on, value=each.price, text=written_money(each.price)
        )
        for each in prices
    ]
    return line_history(
        prefix="price",
        title=f"Cost of {material.name} with freight, a {_per(material, units)[1]}",
        points=points,
        unit=Unit(per_unit=MONEY_UNIT, word=""),
    )


def _offers(material: Material, units: str) -> list[tuple[Offer, int]]:
    size, _ = _per(material, units)
    return [
        (offer, round(Fraction(offer.price * size, offer.pack_amount)))
        for offer in lot_history.offers_of(material)
    ]


def _values(material: Material) -> list[tuple[str, str]]:
    """What is known of a material, as words; what is not known is left out."""
    density = _number(material.density_g_ml, "g/mL")
    if density and material.density_temperature_c is not None:
        density += f" at {_number(material.density_temperature_c, '°C')}"
    saponification = _number(material.sv_mg_koh_g, "mg KOH/g")
    low, high = material.sv_low_mg_koh_g, material.sv_high_mg_koh_g
    if saponification and low is not None and high is not None:
        saponification += f", usually {_number(low)} to {_number(high)}"
    known = [
        ("INCI name", material.inci_name),
        ("Density", density),
        ("Saponification value", saponification),
        ("Iodine value", _number(material.iodine_value, "g/100 g")),
        ("Alkali", material.alkali),
        ("Purity", _percent(material.purity)),
        ("Water", _percent(material.water_share)),
        ("Fat", _percent(material.fat_share)),
        ("Neutralizes", _number(material.acid_naoh_g_per_g, "g NaOH per g")),
        (
            "Most in a rinse-off product (IFRA 9)",
            _percent(material.ifra_category9_max),
        ),
        ("Keeps", f"{material.shelf_life_days} days" if material.shelf_life_days else ""),
        ("Before the lye", "brought to the oils' temperature first" if material.tempering else ""),
        ("Note", material.note),
    ]
    return [(name, words) for name, words in known if words]


def _number(value: Decimal | None, unit: str = "") -> str:
    return "" if value is None else f"{value.normalize():f} {unit}".strip()


def _percent(value: Decimal | None) -> str:
    return "" if value is None else percent(value, 4)
