"""The margin watch: tells once of prices that fell under their floor, with what restores them.

It is a cause of alerts like any other, so it is told in the one digest, closes by itself when the
price is restored, and every round looks for it. A change of an offer or a delivery wakes a worker
at once; when that message is lost, the next round finds the same.
"""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from costing.queries.prices.margin_watch import Slip, slipped
from costing.queries.prices.prices import ACTUAL, OWN, REPLACEMENT
from inventory.domain.alerts.causes import Finding
from inventory.services.alerts.registry import CAUSES, Cause, Look
from studio.foundation.local_words import exact_money, written_percent
from studio.foundation.money import amount_text, from_decimal
from studio.work.waking import wake

KIND = "margin"
TASK = "inventory.tasks.look_for"
_BASIS = {ACTUAL: "in stock", REPLACEMENT: "to make anew", OWN: "to make or in stock"}


def fallen_margins(look: Look) -> list[Finding]:
    """Prices in force and open quote lines under their floor; see `slipped`."""
    return [_finding(slip) for slip in slipped(on=look.on)]


def buying_cost_has_changed(**_: Any) -> None:
    """Receiver of `inventory.services.events.buying_cost_changed`: look once it is committed."""
    # What was asked for before the commit might have been looked for without it.
    transaction.on_commit(_look)


def _look() -> None:
    """Have a worker look for fallen margins; when none can be told, the next round looks."""
    wake(TASK, [{"kind": KIND, "asked": timezone.now().isoformat()}])


def register_cause() -> None:
    """Make the margin watch known to the alerts."""
    CAUSES.register(
        Cause(
            kind=KIND,
            title="Under the floor price",
            intro="The restoring price is the lowest on the tier's price ending that keeps its "
            "floor margin at the higher of the cost in stock and the cost to make anew.",
            find=fallen_margins,
            one="is under the floor price",
            many="are under the floor price",
            words=_words,
            shows_costs=True,
        )
    )


def _finding(slip: Slip) -> Finding:
    margin = "" if slip.margin is None else f" and keeps {written_percent(slip.margin)}"
    cost = (
        "" if slip.cost is None else f" A bar costs {exact_money(slip.cost)} {_BASIS[slip.basis]}."
    )
    off = f" with {written_percent(slip.discount)} off" if slip.discount else ""
    return Finding(
        subject=slip.subject,
        name=_name(slip),
        reason=f"{exact_money(slip.price)} a bar{off} is under the floor of {_at_least(slip)}"
        f"{exact_money(slip.floor)}{margin}, {written_percent(slip.floor_margin)} being the least."
        f"{cost} {_restored(slip)}",
        figures={
            "product": slip.product,
            "tier": slip.tier,
            "quantity": slip.quantity,
            "quote": slip.quote or None,
            "price": _exact(slip.price),
            "floor": _exact(slip.floor),
            "restoring_price": None if slip.restoring is None else _exact(slip.restoring),
            "cost": None if slip.cost is None else _exact(slip.cost),
            "margin": None if slip.margin is None else str(slip.margin),
        },
    )


def _at_least(slip: Slip) -> str:
    return "" if slip.is_floor_known else "at least "


def _restored(slip: Slip) -> str:
    if slip.restoring is None:
        return "Not all that a bar costs is known, so nothing says what restores it."
    return f"{exact_money(slip.restoring)} restores it."


def _name(slip: Slip) -> str:
    if slip.is_quote:
        return f"{slip.product_name} in quote {slip.quote}"
    return f"{slip.product_name} ({slip.tier_name}, from {slip.quantity})"


def _words(alerts: Sequence[Any], on: date) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (
            alert.name,
            [
                ("Price", _shown(alert.figures["price"])),
                ("Floor", _shown(alert.figures["floor"])),
                ("Restored by", _shown(alert.figures["restoring_price"])),
                ("Why", alert.reason),
            ],
        )
        for alert in alerts
    ]


def _exact(value: int) -> str:
    """An amount as programs read it."""
    return amount_text(value, currency=settings.STUDIO_CURRENCY)


def _shown(text: str | None) -> str:
    if text is None:
        return "not known"
    return exact_money(from_decimal(Decimal(text)))
