"""The causes that the inventory itself knows of."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.conf import settings

from inventory.domain.alerts.causes import Figure, Finding, LeftOver, left_at_best_before
from inventory.domain.buying.projection import assess
from inventory.domain.catalog.packs import friendly_amount
from inventory.models.alerts.alerts import Alert
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.queries.alerts.causes import (
    dated_lots,
    expected_use,
    late_orders,
    late_reservations,
    uncounted,
)
from inventory.queries.catalog.offers import best_offers
from inventory.queries.stock.positions import StockPosition, stock_positions
from inventory.services.alerts.registry import CAUSES, Cause, Line, Look
from studio.foundation.local_words import written_money
from studio.foundation.units.writing import how_many

KIND = "low-stock"
_AMOUNTS = ("on_hand", "quarantine", "reserved", "planned", "on_order", "projected")


def low_stock(look: Look) -> list[Finding]:
    """Active materials that want alerts and run low. Four queries."""
    wanted = Material.objects.filter(look.covers("pk"), active=True, low_stock_alerts=True)
    found = []
    for position in stock_positions(on=look.on, materials=wanted).values():
        assessment = assess(position.snapshot, position.reorder_point)
        if assessment.low:
            found.append(_finding(position, assessment.reason))
    return found


def _finding(position: StockPosition, reason: str) -> Finding:
    return Finding(
        subject=f"material:{position.code}",
        name=position.name,
        reason=reason,
        figures={
            "unit": "each" if position.counted else "g",
            **{name: getattr(position, name) for name in _AMOUNTS},
            "reorder_point": position.reorder_point,
        },
        material=position.material_id,
    )


def _words(alerts: Sequence[Alert], on: date) -> list[tuple[str, list[Line]]]:
    """What a mail says of materials that run low, with the best offer of each. Two queries."""
    offers = best_offers([alert.material_id for alert in alerts if alert.material_id], on=on)
    return [_told(alert, offers.get(alert.material_id or 0)) for alert in alerts]


def _told(alert: Alert, offer: Offer | None) -> tuple[str, list[Line]]:
    figures = alert.figures
    counted = figures["unit"] == "each"

    def amount(name: str) -> str:
        return friendly_amount(figures[name], counted=counted)

    lines = [
        ("Projected", amount("projected")),
        (
            "Reorder point",
            "none set" if figures["reorder_point"] is None else amount("reorder_point"),
        ),
        ("Why", alert.reason),
    ]
    if figures["quarantine"]:
        waiting = f"{amount('quarantine')}, not counted until it is released"
        lines.append(("In quarantine", waiting))
    lines.append(
        ("Best offer", _offer_words(offer) if offer else "no supplier offers it at present")
    )
    return f"{alert.name} ({alert.subject.partition(':')[2]})", lines


def _offer_words(offer: Offer) -> str:
    price = written_money(offer.price)
    days = offer.days_to_come
    packs = f", at least {offer.minimum_packs} packs" if offer.minimum_packs > 1 else ""
    return (
        f"{offer.supplier.name}, {offer.pack_written} for {price}{packs}, "
        f"{how_many(days, 'day')} to come"
    )


LOW_STOCK = Cause(
    kind=KIND,
    title="Runs low",
    intro="What is counted: released lots that are not past their best before, less what is "
    "reserved and planned, plus what is on order.",
    find=low_stock,
    one="runs low",
    many="run low",
    words=_words,
    amounts=frozenset({*_AMOUNTS, "reorder_point"}),
    by_material=True,
)


#: The past use that is taken to go on, in days: a quarter of a year evens out single batches.
PAST_DAYS = 90


def expiring(look: Look) -> list[Finding]:
    """Lots that will not be used up by a best before that is near. At most three queries."""
    until = look.on + timedelta(days=settings.STUDIO_EXPIRY_DAYS)
    lots = dated_lots(until=until, among=look.covers("material"))
    if not lots:
        return []
    use = expected_use(
        [material.pk for material in lots], on=look.on, until=until, past_days=PAST_DAYS
    )
    return [
        _left_over(material, left, on=look.on)
        for material, dated in lots.items()
        for left in left_at_best_before(dated, use[material.pk], on=look.on)
    ]


def _left_over(material: Material, found: LeftOver, *, on: date) -> Finding:
    lot = found.lot

    def words(amount: int) -> str:
        return friendly_amount(amount, counted=material.counted)

    days = (lot.best_before - on).days
    if days < 0:
        reason = (
            f"{words(lot.on_hand)} of {material.name} in lot {lot.code} are past their best before "
            f"of {lot.best_before}."
        )
    else:
        use = f"about {words(found.used)} will be used" if found.used else "nothing will be used"
        reason = (
            f"{words(lot.on_hand)} of {material.name} in lot {lot.code}, best before "
            f"{lot.best_before} (in {how_many(days, 'day')}): {use} by then, "
            f"{words(found.left)} would be left."
        )
    figures: dict[str, Figure] = {
        "unit": material.stock_unit,
        "on_hand": lot.on_hand,
        "expected_use": found.used,
        "left": found.left,
        "best_before": lot.best_before.isoformat(),
    }
    return Finding(
        subject=f"lot:{lot.code}",
        name=f"{material.name}, lot {lot.code}",
        reason=reason,
        figures=figures,
        material=material.pk,
    )


def late_deliveries(look: Look) -> list[Finding]:
    """Placed orders that should have come by now. One query."""
    return [
        Finding(
            subject=f"order:{order.code}",
            name=f"order {order.code}",
            reason=f"Order {order.code} with {order.supplier} was expected on {order.expected_on}, "
            f"{how_many((look.on - order.expected_on).days, 'day')} ago; {order.lines} "
            f"{'line is' if order.lines == 1 else 'lines are'} still to come.",
            figures={"expected_on": order.expected_on.isoformat(), "lines": order.lines},
        )
        for order in late_orders(on=look.on)
    ]


def reservations_past_date(look: Look) -> list[Finding]:
    """Reservations that still hold stock after the day it was wanted for. One query."""
    return [
        Finding(
            subject=f"reservation:{held.holder}",
            name=f"the reservation of {held.holder}",
            reason=f"{held.holder} holds stock in "
            f"{how_many(held.lots, 'lot')} that was wanted by {held.day}, "
            f"{how_many((look.on - held.day).days, 'day')} ago: use it or give it back.",
            figures={"day": held.day.isoformat(), "lots": held.lots},
        )
        for held in late_reservations(on=look.on)
    ]


def counts_overdue(look: Look) -> list[Finding]:
    """Materials that were not counted for long; nothing when STUDIO_COUNT_DAYS is 0. One query."""
    if not settings.STUDIO_COUNT_DAYS:
        return []
    before = look.on - timedelta(days=settings.STUDIO_COUNT_DAYS)
    return [
        Finding(
            subject=f"material:{found.code}",
            name=found.name,
            reason=f"{how_many(found.lots, 'lot')} of {found.name} "
            f"{'was' if found.lots == 1 else 'were'} not counted for "
            f"{how_many(settings.STUDIO_COUNT_DAYS, 'day')}, one not since {found.since}.",
            figures={"since": found.since.isoformat(), "lots": found.lots},
            material=found.material,
        )
        for found in uncounted(before=before, among=look.covers("material"))
    ]


#: In the order in which mails tell of them.
_OWN = (
    LOW_STOCK,
    Cause(
        kind="expiring",
        title="Expires before it is used",
        find=expiring,
        one="expires before it is used",
        many="expire before they are used",
        amounts=frozenset({"on_hand", "expected_use", "left"}),
        by_material=True,
    ),
    Cause(
        kind="late-delivery",
        title="Late",
        find=late_deliveries,
        one="is late",
        many="are late",
    ),
    Cause(
        kind="reservation-past-date",
        title="Reserved past its date",
        find=reservations_past_date,
        one="is past its date",
        many="are past their date",
    ),
    Cause(
        kind="count-overdue",
        title="To be counted",
        find=counts_overdue,
        one="is to be counted",
        many="are to be counted",
        by_material=True,
    ),
)


def register_causes() -> None:
    """Make the inventory's causes known."""
    for cause in _OWN:
        CAUSES.register(cause)
