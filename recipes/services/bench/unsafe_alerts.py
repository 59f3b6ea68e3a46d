"""The alert of batches that turned out unsafe after something that they rest on changed.

One for what changed, however many batches it reaches. It closes once they are judged safe again or
an owner decided over them, and, of what is only reserved, once it is given back.
"""

from collections.abc import Sequence
from decimal import Decimal
from itertools import groupby
from operator import attrgetter

from django.utils import timezone

from inventory.domain.alerts.causes import Finding
from inventory.services.alerts.registry import CAUSES, Cause, Look, listed
from recipes.models.bench.judgements import Judgement
from recipes.queries.bench.judgements import unsafe_by_change
from studio.foundation.units.writing import percent
from studio.work.waking import wake

KIND = "turned-unsafe"
_TASK = "inventory.tasks.look_for"


def look_soon() -> None:
    """Have a worker tell what turned unsafe, or is safe again; the next round would, too."""
    wake(_TASK, [{"kind": KIND, "asked": timezone.now().isoformat()}])


def turned_unsafe(look: Look) -> list[Finding]:
    """What changed and made batches unsafe that still are. Two queries."""
    return [
        _finding(subject, list(some))
        for subject, some in groupby(unsafe_by_change(), key=attrgetter("subject"))
    ]


def _finding(subject: str, judged: Sequence[Judgement]) -> Finding:
    poured = [each.batch.code for each in judged if each.reservation_id is None]
    waiting = [each.batch.code for each in judged if each.reservation_id is not None]
    lowest = _lowest(judged)
    first = judged[0]
    return Finding(
        subject=subject,
        name=first.name,
        reason=f"{_does(poured, waiting)} {first.changed}. {_why(judged)}",
        figures={
            "batches": ", ".join(sorted([*poured, *waiting])),
            "held": len(poured),
            "reserved": len(waiting),
            "lowest_superfat": "not known" if lowest is None else str(lowest),
        },
    )


def _does(poured: Sequence[str], waiting: Sequence[str]) -> str:
    parts = []
    if poured:
        parts.append(
            f"The soap of {listed(poured)} is held, with all that was made of it, until an owner"
            " decides."
        )
    if waiting:
        parts.append(
            f"{listed(waiting)} cannot be poured as reserved: choose other lots, or give it back"
            " and set its lye anew."
        )
    return " ".join(parts)


def _why(judged: Sequence[Judgement]) -> str:
    if len(judged) == 1:
        return judged[0].words
    lowest = _lowest(judged)
    if lowest is None:
        return "Of some no superfat can be told."
    return f"The lowest superfat is {percent(lowest)}."


def _lowest(judged: Sequence[Judgement]) -> Decimal | None:
    """The lowest superfat; None where one is not known, which may be lower."""
    known = [each.superfat for each in judged if each.superfat is not None]
    return min(known) if len(known) == len(judged) else None


def register_cause() -> None:
    """Make the alert known."""
    CAUSES.register(
        Cause(
            kind=KIND,
            title="Turned unsafe",
            intro="Lye burns: leave such soap where it is, and mix no lye by such a sheet.",
            find=turned_unsafe,
            one="made soap unsafe",
        )
    )
