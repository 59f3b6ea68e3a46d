"""A quote in the words of a page: each line's price, floor, margins, and origin of its bars."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from costing.domain.quotes.quoting import cartons
from costing.models.quotes.quotes import Quote, QuoteLine
from costing.queries.quotes.quotes import asked_of, margins_of

ORIGINS = {
    "cured": "cured, lot",
    "curing": "curing,",
    "planned": "planned,",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """So many of a line's bars, from where, ready on a day."""

    bars: int
    words: str
    ready_on: date
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """A line as the quote's page shows it; `restoring` is the lowest price that is on the floor."""

    line: QuoteLine
    margin_actual: Decimal | None
    margin_replacement: Decimal | None
    paid: int
    under: bool
    restoring: int | None
    full: int
    left: int
    origins: tuple[Origin, ...]
    reason: str

    @property
    def is_own(self) -> bool:
        """Whether somebody named this price in place of the list's."""
        return self.line.own_price is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownQuote:
    """A quote with its lines as they are shown."""

    quote: Quote
    lines: tuple[ShownLine, ...]

    @property
    def under(self) -> tuple[ShownLine, ...]:
        """The lines under their floor."""
        return tuple(row for row in self.lines if row.under)

    @property
    def bars(self) -> int:
        """All bars of it."""
        return sum(row.line.quantity for row in self.lines)

    @property
    def ready_on(self) -> date | None:
        """The day on which all of it can be there; None where some of it cannot be promised."""
        days = [row.line.promised_on for row in self.lines]
        return max((day for day in days if day), default=None) if all(days) else None

    @property
    def is_late(self) -> bool:
        """Whether it comes later than it is wanted."""
        wanted, ready = self.quote.wanted_on, self.ready_on
        return wanted is not None and (ready is None or ready > wanted)


def show_quote(quote: Quote) -> ShownQuote:
    """A quote of `costing.queries.quotes.quotes.find_quote` as its page shows it. No query."""
    return ShownQuote(quote=quote, lines=tuple(_line(quote, row) for row in quote.lines.all()))


def _line(quote: Quote, line: QuoteLine) -> ShownLine:
    asked = asked_of(quote, line)
    actual, replacement = margins_of(quote, line)
    full, left = cartons(line.quantity, line.bars_per_carton)
    return ShownLine(
        line=line,
        margin_actual=actual,
        margin_replacement=replacement,
        paid=round(asked.paid),
        under=asked.under,
        restoring=asked.restored(step=line.tier.step, ending=line.tier.ending),
        full=full,
        left=left,
        origins=_origins(line.promise.get("parts", ())),
        reason=str(line.promise.get("reason", "")),
    )


def _origins(parts: Iterable[dict[str, Any]]) -> tuple[Origin, ...]:
    """Each lot and batch that is there; new batches in one mold together, as they may be many."""
    parts = list(parts)
    there = [_there(part) for part in parts if part["kind"] != "new"]
    molds = dict.fromkeys(part["code"] for part in parts if part["kind"] == "new")
    return (*there, *(_new(mold, parts) for mold in molds))


def _there(part: dict[str, Any]) -> Origin:
    words = f"{ORIGINS.get(part['kind'], '')} {part['code']}".strip()
    return Origin(bars=part["amount"], words=words, ready_on=date.fromisoformat(part["ready_on"]))


def _new(mold: str, parts: Iterable[dict[str, Any]]) -> Origin:
    batches = [part for part in parts if part["kind"] == "new" and part["code"] == mold]
    days = sorted(date.fromisoformat(part["ready_on"]) for part in batches)
    count = "a new batch" if len(batches) == 1 else f"{len(batches)} new batches"
    return Origin(
        bars=sum(part["amount"] for part in batches),
        words=f"from {count}, {mold}",
        ready_on=days[0],
        until=days[-1] if days[-1] != days[0] else None,
    )
