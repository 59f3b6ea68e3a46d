"""Low stock as a cause of alerts: the projected stock against the reorder point."""

from collections.abc import Sequence
from datetime import date

from inventory.domain.alerts.causes import Finding
from inventory.domain.buying.projection import assess
from inventory.domain.catalog.packs import friendly_amount
from inventory.models.alerts.alerts import Alert
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.queries.catalog.offers import best_offers
from inventory.queries.stock.positions import StockPosition, stock_positions
from inventory.services.alerts.registry import Cause, Line, Look, listed
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


def _headline(names: Sequence[str]) -> str:
    return f"{listed(names)} {'runs' if len(names) == 1 else 'run'} low"


LOW_STOCK = Cause(
    kind=KIND,
    title="Runs low",
    intro="What is counted: released lots that are not past their best before, less what is "
    "reserved and planned, plus what is on order.",
    find=low_stock,
    headline=_headline,
    words=_words,
    amounts=frozenset({*_AMOUNTS, "reorder_point"}),
    by_material=True,
)
