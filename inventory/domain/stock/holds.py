"""Why a lot may not be used, and what lifts it: its state is what its open holds say.

Goods are kept apart until they are released, and what is rejected stays marked: the idea of ISO
22716 (cosmetics, good manufacturing practices; from memory). Free caustic alkali of soap is
determined by ISO 456.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from types import MappingProxyType

from inventory.domain.stock.lots import LotState
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

#: What people write, and what stands on a hold or a lot: figures and several reasons come to more.
LONGEST_SAID = 200
LONGEST_REASON = 500
CURING = "curing"
TO_CHECK = "to be checked on arrival"


class Cause(StrEnum):
    """Why a lot is held. Several holds may be open on a lot at once, each lifted by its own way."""

    ARRIVAL = "arrival"  # to be checked before it is used
    CURE = "cure"
    LYE = "lye-heavy"
    LIMIT = "over-limit"  # more fragrance than its certificate allows
    RECALL = "recall"
    BY_HAND = "by-hand"
    TRIAL = "trial"  # bars of a version of a recipe that is not what is sold


class Way(StrEnum):
    """Who or what lifts a hold."""

    KEEPER = "keeper"  # somebody who keeps stock, with a reason
    CURE = "cure"  # finishing the cure
    RECALL = "recall"  # lifting the recall
    OWNER = "owner"  # an owner, with a reason and an outcome


class Outcome(StrEnum):
    """What became of soap that was held as unsafe."""

    SAFE = "judged-safe"
    MEASURED = "measured"
    DISPOSED = "disposed"
    REBATCHED = "rebatched"


#: Of toilet soap: free caustic alkali as NaOH, at most 0.05 % of the mass (IS 2888, Indian Standard
#: for toilet soap, and EAS 186, East African Standard for toilet soap; both from memory).
MOST_FREE_ALKALI = Decimal("0.0005")
#: Decisions over a lot of which nothing is left: they judge nothing of what turns up later.
GONE = frozenset({Outcome.DISPOSED, Outcome.REBATCHED})
_TURNED_UP = "What turned up is held again: it was"

LIFTED_BY: Mapping[Cause, Way] = MappingProxyType(
    {
        Cause.ARRIVAL: Way.KEEPER,
        Cause.BY_HAND: Way.KEEPER,
        Cause.TRIAL: Way.KEEPER,
        Cause.CURE: Way.CURE,
        Cause.RECALL: Way.RECALL,
        Cause.LYE: Way.OWNER,
        Cause.LIMIT: Way.OWNER,
    }
)
RELEASED_BY_HAND = frozenset(cause for cause, way in LIFTED_BY.items() if way is Way.KEEPER)
HELD_BY_HAND = RELEASED_BY_HAND - {Cause.TRIAL}
#: Lifted for all that the same document holds, by what happens to it.
LIFTED_TOGETHER = frozenset({Cause.CURE, Cause.RECALL, Cause.TRIAL})
DECIDED = frozenset(cause for cause, way in LIFTED_BY.items() if way is Way.OWNER)
#: Waiting is not a fault: these alone leave a lot in quarantine.
WAITING = frozenset({Cause.ARRIVAL, Cause.CURE})
#: Of holds that are open on a lot, what is made of it takes over these: it was looked at, what
#: cures has a cure of its own, and what is made of a trial is not what is sold as its bars.
INHERITED = frozenset(Cause) - WAITING - {Cause.TRIAL}
#: What a batch or a recall found: opened on a lot, these reach at once what was made of it before,
#: at any depth, and no table makes less of them.
TRAVELING = frozenset({Cause.LYE, Cause.LIMIT, Cause.RECALL})


@dataclass(frozen=True, slots=True, kw_only=True)
class NewHold:
    """A hold to open: `reason` in words, for the document `reference` ("batch:B-7") if any.

    `until` is the day on which the cure of what stood here before is over, `since` the day from
    which a new lot was held where it stood here before.
    """

    cause: Cause
    reason: str
    reference: str = ""
    until: date | None = None
    since: date | None = None

    @property
    def stands_once(self) -> bool:
        """Whether a lot has one open hold of the cause and document; people may add theirs."""
        return self.cause not in HELD_BY_HAND


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What an owner decides of soap held as unsafe.

    `free_alkali` is the free caustic alkali by ISO 456, as NaOH, a share of the mass (0.0004 for
    0.04 %), found on the day `measured_on`; both belong to the outcome `measured` alone.
    """

    outcome: Outcome
    reason: str
    on: date
    free_alkali: Decimal | None = None
    measured_on: date | None = None


def state_of(causes: Collection[Cause]) -> LotState:
    """The state of a lot with these open holds."""
    if not causes:
        return LotState.RELEASED
    return LotState.QUARANTINE if WAITING.issuperset(causes) else LotState.BLOCKED


def asked_for(
    state: LotState, reason: str, *, checked: bool = False, cures: bool = False, reference: str = ""
) -> tuple[NewHold, ...]:
    """The holds of what comes in when somebody asks for a state, with a reason in words.

    `checked`: goods of this supplier are always checked before they are used; `cures`: what waits
    are bars, which cure.
    """
    why = reason.strip()
    holds = []
    if state is LotState.BLOCKED:
        holds.append(NewHold(cause=Cause.BY_HAND, reason=why, reference=reference))
    if state is LotState.QUARANTINE and cures:
        holds.append(NewHold(cause=Cause.CURE, reason=why or CURING, reference=reference))
    elif checked or state is LotState.QUARANTINE:
        asked = why if state is LotState.QUARANTINE else ""
        holds.append(NewHold(cause=Cause.ARRIVAL, reason=asked or TO_CHECK, reference=reference))
    return tuple(holds)


def stated(
    held: Iterable[tuple[Cause, date]], reason: str, *, reference: str, until: date | None = None
) -> tuple[NewHold, ...]:
    """The holds of a lot that stood here before: its causes with their days, all for one reason."""
    return tuple(
        NewHold(
            cause=cause,
            reason=reason.strip() or (CURING if cause is Cause.CURE else TO_CHECK),
            reference=reference,
            until=until if cause is Cause.CURE else None,
            since=since,
        )
        for cause, since in held
    )


def told(holds: Iterable[tuple[Cause, str]]) -> str:
    """The reasons of a lot's open holds, what blocks it first; each once, cut where too long."""
    ordered = sorted(holds, key=lambda each: each[0] in WAITING)
    words = "; ".join(dict.fromkeys(reason for _, reason in ordered if reason))
    return words if len(words) <= LONGEST_REASON else words[: LONGEST_REASON - 1] + "…"


def without_doubles(holds: Iterable[NewHold]) -> list[NewHold]:
    """The same holds, those of one cause and document once."""
    kept: dict[object, NewHold] = {}
    for new in holds:
        key = (new.cause, new.reference) if new.stands_once else new
        kept.setdefault(key, new)
    return list(kept.values())


def turned_up(reason: str, outcome: Outcome, on: date) -> str:
    """The reason of a hold that opens again, on what turned up of a lot said to be gone that day.

    `reason` is that of the hold before, which may have opened like that itself.
    """
    became = "disposed of" if outcome is Outcome.DISPOSED else "used up in a rebatch"
    again = f" {_TURNED_UP} {became} on {on}."
    first = reason.partition(_TURNED_UP)[0].rstrip()
    return (first[: LONGEST_REASON - len(again)] + again).lstrip()


def of_batch(document: str) -> bool:
    """Whether a document or holder ("batch:B-00012") is a batch."""
    return document.startswith("batch:")


def way_out(cause: Cause, reference: str = "") -> str:
    """What lifts a hold, as the end of "It is free once ..."."""
    kind, _, code = reference.partition(":")
    if cause is Cause.CURE:
        return f"the cure of batch {code} is finished" if kind == "batch" else "its cure is ended"
    if cause is Cause.RECALL:
        return f"recall {code} is lifted"
    if cause is Cause.TRIAL:
        told = "somebody who keeps stock releases it as what is sold, with a reason"
        return f"its version is made current, or {told}" if kind == "batch" else told
    if cause in DECIDED:
        return (
            "an owner decides what becomes of it: judged safe again after a value was corrected, "
            "measured, disposed of, or used up in a rebatch"
        )
    return "somebody who keeps stock releases it, with a reason"


def check_decision(faults: Faults, decision: Decision, *, cause: Cause, made_on: date) -> None:
    """Add what is wrong with a decision over a hold of this cause, on a lot made on that day.

    Nothing above `MOST_FREE_ALKALI` (published for toilet soap) frees what was measured.
    """
    measured = decision.outcome is Outcome.MEASURED
    if measured and cause is not Cause.LYE:
        faults.add(
            "measures-nothing", "Free alkali says nothing about too much fragrance.", "outcome"
        )
    if not measured:
        if decision.free_alkali is not None or decision.measured_on is not None:
            faults.add(
                "not-measured", "A measured value belongs to the outcome 'measured'.", "free_alkali"
            )
        return
    if decision.free_alkali is None:
        faults.add("value-missing", "Say what free alkali was found, in percent.", "free_alkali")
    elif not 0 <= decision.free_alkali <= 1:
        faults.add("out-of-range", "Free alkali is from 0 to 100 %.", "free_alkali")
    elif decision.free_alkali > MOST_FREE_ALKALI:
        faults.add(
            "too-much-free-alkali",
            f"Toilet soap holds at most {percent(MOST_FREE_ALKALI)} free caustic alkali (as NaOH), "
            "so this is still not safe. Let it cure and measure again, use it up in a rebatch, or "
            "dispose of it.",
            "free_alkali",
            maximum=str(MOST_FREE_ALKALI),
        )
    if decision.measured_on is None:
        faults.add("day-missing", "Say on which day it was measured.", "measured_on")
    elif not made_on <= decision.measured_on <= decision.on:
        faults.add(
            "day-outside",
            f"It was measured between the day it was made ({made_on}) and the day of the decision.",
            "measured_on",
        )
