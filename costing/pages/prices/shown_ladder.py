"""A price ladder and the margin watch in the words of a page."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.conf import settings

from costing.queries.prices.margin_watch import Slip
from costing.queries.prices.price_ladder import LadderView, RungState, RungView, TierView
from studio.foundation.money import format_money_input

#: State of a price -> its word and its shape.
WORDS = {
    RungState.KEEPS: ("keeps its margin", "good"),
    RungState.BELOW_WANTED: ("below what is wanted", ""),
    RungState.UNDER_FLOOR: ("under its floor", "soon"),
    RungState.OVERRIDDEN: ("under its floor, allowed", ""),
    RungState.NO_COST: ("cost not known", ""),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRung:
    """A listed price with the margin on the higher of both costs, and its state in words."""

    view: RungView
    word: str
    shape: str

    @property
    def margin(self) -> Decimal | None:
        """The lower of the two margins: that on the cost which the floor rests on."""
        known = [each.margin for each in (self.view.actual, self.view.replacement)]
        return min((margin for margin in known if margin is not None), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownTier:
    """A tier with its prices of one product."""

    view: TierView
    rungs: tuple[ShownRung, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLadder:
    """A product's ladder."""

    view: LadderView
    tiers: tuple[ShownTier, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownSlip:
    """A price under its floor, and what the form that restores it is sent with."""

    slip: Slip
    price: str
    day: str


def show_ladder(view: LadderView) -> ShownLadder:
    """A ladder as pages show it; reads nothing."""
    return ShownLadder(
        view=view,
        tiers=tuple(
            ShownTier(view=tier, rungs=tuple(_rung(rung) for rung in tier.rungs))
            for tier in view.tiers
        ),
    )


def show_slips(slips: Iterable[Slip], *, on: date) -> list[ShownSlip]:
    """Prices under their floor as pages show them; reads nothing."""
    return [
        ShownSlip(slip=slip, price=money_input(slip.restoring), day=on.isoformat())
        for slip in slips
    ]


def money_input(value: int) -> str:
    """An amount as a money field reads it."""
    return format_money_input(
        value, currency=settings.STUDIO_CURRENCY, locale=settings.STUDIO_LOCALE
    )


def _rung(view: RungView) -> ShownRung:
    word, shape = WORDS[view.state]
    return ShownRung(view=view, word=word, shape=shape)
