"""What is never made: a lye-heavy soap, and more fragrance than its certificate allows.

`recheck` serves every stage: a plan with the materials' nominal values, a reservation with the
values of the lots that were picked, and a pour with the weights that were really taken.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal

from inventory.domain.stock.contents import EMPTY, Contents
from inventory.domain.stock.leaves import NONE, Scent, Span
from recipes.domain.chemistry import lye
from recipes.domain.chemistry.inside import inside_of, of_slot
from recipes.domain.chemistry.lye import PureAlkali
from recipes.domain.chemistry.lye_plan import demand_of, worst_demand
from recipes.domain.chemistry.worst import unsure_of
from recipes.domain.formulas.formula import BATTER_STAGES, ONE, ZERO, Basis, Notice
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine
from recipes.errors import (
    FragranceOverMaximum,
    FragranceWithoutCertificate,
    LyeHeavy,
    SafetyRefusal,
)
from studio.foundation.errors import Fault, Faults
from studio.foundation.units.writing import percent

MICRO = Decimal("0.000001")
#: Lots that move the superfat by more than a point make another soap than was planned.
MOVED = Decimal("0.01")
_SLOTS = {"naoh": "NaOH", "koh": "KOH", "masterbatch": "Stored lye", "water": "Water"}


@dataclass(frozen=True, slots=True)
class LotTake:
    """Mass taken from one lot, with what that lot consists of; None: as the recipe's material.

    `mass_ng` of a counted material is pieces x piece mass.
    """

    mass_ng: int
    contents: Contents | None = None

    def __post_init__(self) -> None:
        if self.mass_ng < 0:
            raise SafetyRefusal("A weight cannot be below 0.", field="mass_ng")


@dataclass(frozen=True, slots=True)
class LotValues:
    """What is really taken. A line, an alkali or the water that is left out is taken as planned.

    `lines` goes from the position of a line to its takes; an empty sequence says that none was
    taken.
    """

    lines: Mapping[int, Sequence[LotTake]] = field(default_factory=dict)
    naoh: Sequence[LotTake] | None = None
    koh: Sequence[LotTake] | None = None
    masterbatch: Sequence[LotTake] | None = None
    water: Sequence[LotTake] | None = None


AS_PLANNED = LotValues()


@dataclass(frozen=True, slots=True)
class FragranceShare:
    """A fragrance's share of the finished soap against its certified maximum (IFRA category 9).

    It is the sum over all that is taken, inside of blends and over several lots too, since the
    maximum is one of the finished product. `position` is that of the first line that brings it,
    None where only the lye does.
    """

    position: int | None
    code: str
    name: str
    share: Decimal
    maximum: Decimal | None

    @property
    def is_over(self) -> bool:
        """Whether it is above a maximum that is known."""
        return self.maximum is not None and self.share > self.maximum


@dataclass(frozen=True, slots=True)
class SafetyCheck:
    """What results from the takes. Masses in ng, shares of 1; superfats are rounded down.

    `worst` is the superfat with the fats at the low end of their ranges and the alkali as pure as
    it may be; what is certified has no range. `unsure` says in words what makes it lower.
    """

    superfat: Decimal
    worst: Decimal
    batter_ng: int
    finished_ng: int
    fragrances: tuple[FragranceShare, ...]
    notices: tuple[Notice, ...] = ()
    unsure: tuple[str, ...] = ()


def recheck(batch: ScaledBatch, lot_values: LotValues = AS_PLANNED) -> SafetyCheck:
    """Superfat and fragrance shares from what is really taken; refuse what is not safe.

    Raises `LyeHeavy`, `FragranceOverMaximum` or `FragranceWithoutCertificate`; when more than one
    kind of fault is found, `SafetyRefusal` with all of them.
    """
    check = evaluate(batch, lot_values)
    faults = [*_lye_faults(check), *_fragrance_faults(check.fragrances)]
    kinds = {kind for kind, _ in faults}
    _collected(faults).raise_if_any(kinds.pop() if len(kinds) == 1 else SafetyRefusal)
    return check


def evaluate(batch: ScaledBatch, lot_values: LotValues = AS_PLANNED) -> SafetyCheck:
    """The same figures without refusing: for showing a plan that is still being changed."""
    taken, slots = _taken(batch, lot_values), _slots(batch, lot_values)
    everything = [
        take for takes in (*(takes for _, takes in taken), *slots.values()) for take in takes
    ]
    superfat, worst = _superfats(taken, everything)
    batter_ng = _batter(taken, slots)
    finished = _finished(batch, batter_ng)
    fragrances = tuple(_fragrance_shares(taken, slots, finished))
    return SafetyCheck(
        superfat=superfat.quantize(MICRO, ROUND_FLOOR),
        worst=worst.quantize(MICRO, ROUND_FLOOR),
        batter_ng=batter_ng,
        finished_ng=round(finished),
        fragrances=fragrances,
        notices=(*_together(fragrances), *_moved(batch, superfat, lot_values)),
        unsure=_unsure(taken, slots),
    )


def fragrance_faults(batch: ScaledBatch, lot_values: LotValues) -> tuple[Fault, ...]:
    """What is wrong with the fragrance in what is taken, also where there is no superfat to tell.

    Nothing where no batter is taken, of which it could be a share.
    """
    taken, slots = _taken(batch, lot_values), _slots(batch, lot_values)
    finished = _finished(batch, _batter(taken, slots))
    if not finished:
        return ()
    return _collected(_fragrance_faults(_fragrance_shares(taken, slots, finished))).found


def takes_alkali(batch: ScaledBatch, lot_values: LotValues) -> bool:
    """Whether any of the fats that are taken takes alkali; without one there is no superfat."""
    return any(
        mass * (inside.demand or NONE).low > 0
        for line in batch.lines
        if _is_fat(line)
        for mass, inside in _takes(line, lot_values)
    )


Take = tuple[int, Contents]
Taken = list[tuple[ScaledLine, Sequence[Take]]]
Slots = Mapping[str, Sequence[Take]]
Found = tuple[type[SafetyRefusal], tuple[str, str, dict[str, str]]]


def _is_fat(scaled: ScaledLine) -> bool:
    return scaled.in_batter and scaled.line.basis is Basis.SHARE_OF_FATS


def _taken(batch: ScaledBatch, lot_values: LotValues) -> Taken:
    return [(scaled, _takes(scaled, lot_values)) for scaled in batch.lines]


def _takes(scaled: ScaledLine, lot_values: LotValues) -> Sequence[Take]:
    """The takes of a line, with what the material consists of where no lot is known."""
    takes = lot_values.lines.get(scaled.position, (LotTake(scaled.rounded_ng),))
    planned = inside_of(scaled.line.ingredient)
    return [(take.mass_ng, planned if take.contents is None else take.contents) for take in takes]


def _slots(batch: ScaledBatch, lot_values: LotValues) -> Slots:
    """The alkalis and the water of the lye by name, each by its lots, or as planned."""
    alkali, most = batch.formula.alkali, batch.formula.alkali.at_worst
    stored = alkali.masterbatch_strength or ZERO
    planned = {
        "naoh": (
            batch.naoh_ng,
            of_slot("naoh", usual=alkali.naoh_purity, most=most.naoh_purity),
        ),
        "koh": (batch.koh_ng, of_slot("koh", usual=alkali.koh_purity, most=most.koh_purity)),
        "masterbatch": (
            batch.masterbatch_ng,
            of_slot("naoh", usual=stored, most=most.masterbatch_strength),
        ),
        "water": (batch.extra_water_ng, EMPTY),
    }
    slots: dict[str, Sequence[Take]] = {}
    for name, (mass, contents) in planned.items():
        takes = getattr(lot_values, name)
        if takes is None:
            takes = (LotTake(mass),)
        slots[name] = [
            (take.mass_ng, contents if take.contents is None else take.contents) for take in takes
        ]
    return slots


def _superfats(taken: Taken, everything: Sequence[Take]) -> tuple[Decimal, Decimal]:
    """The usual superfat and the worst: all alkali that is taken, whatever it is taken as, against
    the demand of the fats. A fat of which nobody knows a value takes none.
    """
    naoh, koh = _pure(everything)
    batter = [(mass, inside) for line, takes in taken if line.in_batter for mass, inside in takes]
    acids = [(mass, inside.acid_naoh) for mass, inside in batter]
    carbonates = [(mass, inside.carbonate_naoh) for mass, inside in batter]
    fats = [
        (mass, inside.demand or NONE)
        for line, takes in taken
        if _is_fat(line)
        for mass, inside in takes
    ]
    usual = demand_of([(mass, demand.usual) for mass, demand in fats], acids, carbonates)
    least = worst_demand([(mass, demand.low) for mass, demand in fats], acids, carbonates)
    return (
        usual.superfat_with(PureAlkali(naoh=naoh.usual, koh=koh.usual)),
        least.superfat_with(PureAlkali(naoh=naoh.high, koh=koh.high)),
    )


def _unsure(taken: Taken, slots: Slots) -> tuple[str, ...]:
    """What makes the worst superfat lower than the usual one, by what is taken."""
    inside = [
        (scaled, mass, contents)
        for scaled, takes in taken
        if scaled.in_batter
        for mass, contents in takes
    ]
    in_lye = [(_SLOTS[name], mass, its) for name, takes in slots.items() for mass, its in takes]
    named = [*in_lye, *((each.line.ingredient.name, mass, its) for each, mass, its in inside)]
    return unsure_of(
        [(name, pure) for name, mass, its in named if mass for pure in (its.naoh, its.koh)],
        [
            (each.line.ingredient.name, its.demand or NONE)
            for each, mass, its in inside
            if mass and each.line.basis is Basis.SHARE_OF_FATS
        ],
        carbonate=any(mass and its.carbonate_naoh for _, mass, its in inside),
    )


def _pure(takes: Iterable[Take]) -> tuple[Span, Span]:
    naoh = koh = NONE
    for mass, contents in takes:
        if contents.naoh or contents.koh:
            naoh += contents.naoh.times(Decimal(mass))
            koh += contents.koh.times(Decimal(mass))
    return naoh, koh


def pure_in_lye(batch: ScaledBatch, lot_values: LotValues) -> PureAlkali:
    """Pure NaOH and KOH in what is taken for the lye, by what the lots consist of."""
    takes = [take for some in _slots(batch, lot_values).values() for take in some]
    naoh, koh = _pure(takes)
    return PureAlkali(naoh=naoh.usual, koh=koh.usual)


def lye_ng(batch: ScaledBatch, lot_values: LotValues) -> int:
    """The mass of all that is taken for the lye: alkali as weighed, stored lye, and plain water."""
    return sum(mass for takes in _slots(batch, lot_values).values() for mass, _ in takes)


def _batter(taken: Taken, slots: Slots) -> int:
    inside = sum(
        mass for scaled, takes in taken if scaled.line.stage in BATTER_STAGES for mass, _ in takes
    )
    return inside + sum(mass for takes in slots.values() for mass, _ in takes)


def _finished(batch: ScaledBatch, batter_ng: int) -> Decimal:
    """What is left of the batter once it has cured."""
    return batter_ng * (1 - batch.formula.cure_loss_share)


def _fragrance_shares(taken: Taken, slots: Slots, finished: Decimal) -> Iterable[FragranceShare]:
    """Of what is a fragrance, and of what else has a certified maximum (a perfumed oil), also
    inside of what was blended.

    All of one material counts together, under the position of the first line, with the least
    maximum of its lots.
    """
    together: dict[str, list[tuple[int | None, Scent, Decimal]]] = defaultdict(list)
    lines = ((scaled.position, takes) for scaled, takes in taken)
    lye_slots = ((None, takes) for takes in slots.values())
    for position, takes in (*lines, *lye_slots):
        for mass, contents in takes:
            for scent, share in contents.scents.items():
                if mass and share:
                    together[scent.code].append((position, scent, mass * share))
    for found in together.values():
        maxima = [scent.maximum for _, scent, _ in found]
        known = [maximum for maximum in maxima if maximum is not None]
        yield FragranceShare(
            position=found[0][0],
            code=found[0][1].code,
            name=found[0][1].name,
            share=sum((mass for _, _, mass in found), ZERO) / finished,
            maximum=min(known) if len(known) == len(maxima) else None,
        )


def _together(fragrances: tuple[FragranceShare, ...]) -> Iterable[Notice]:
    """Two fragrances may hold the same restricted substance: then their parts add up."""
    parts = [f.share / f.maximum for f in fragrances if f.maximum]
    if len(parts) > 1 and max(parts) <= ONE < sum(parts):
        yield Notice(
            "fragrances-add-up",
            "Each fragrance is within its own maximum, but together they are above it where both"
            " hold the same restricted substance. Ask the suppliers, or use less.",
            "lines",
        )


def _moved(batch: ScaledBatch, superfat: Decimal, lot_values: LotValues) -> Iterable[Notice]:
    """Lots, or weights, that are not as planned may be safe and still make another soap."""
    if lot_values != AS_PLANNED and abs(superfat - batch.superfat) > MOVED:
        why = "a lot is weaker or stronger than the recipe's materials"
        if _weighs_as_planned(batch, lot_values):
            why += ". Set the lye on the lots, or take others."
        else:
            why += ", or something was weighed otherwise."
        yield Notice(
            "superfat-moved",
            f"With these lots and weights the superfat is {percent(superfat)} and not"
            f" {percent(batch.superfat)} as planned: {why}",
            "superfat",
            {"superfat": str(superfat.quantize(MICRO, ROUND_FLOOR))},
        )


def _weighs_as_planned(batch: ScaledBatch, lot_values: LotValues) -> bool:
    """Whether the takes of each line and alkali are together what the plan has of it."""
    lines = [(lot_values.lines.get(each.position), each.rounded_ng) for each in batch.lines]
    alkalis = [
        (lot_values.naoh, batch.naoh_ng),
        (lot_values.koh, batch.koh_ng),
        (lot_values.masterbatch, batch.masterbatch_ng),
    ]
    return all(
        takes is None or sum(take.mass_ng for take in takes) == planned
        for takes, planned in (*lines, *alkalis)
    )


def _collected(found: Iterable[Found]) -> Faults:
    faults = Faults()
    for kind, (message, path, details) in found:
        faults.add(kind.code, message, path, **details)
    return faults


def _lye_faults(check: SafetyCheck) -> Iterable[Found]:
    if lye.is_lye_heavy(check.superfat):
        yield (
            LyeHeavy,
            (
                f"Lye-heavy: the superfat would be {percent(check.superfat)}, so free lye would"
                " stay in the soap and burn. Use less alkali or more fat.",
                "superfat",
                {"superfat": str(check.superfat)},
            ),
        )


def _fragrance_faults(fragrances: Iterable[FragranceShare]) -> Iterable[Found]:
    for fragrance in fragrances:
        name = fragrance.name
        path = "lye" if fragrance.position is None else f"lines.{fragrance.position}"
        if fragrance.maximum is None:
            message = (
                f"{name} has no certified maximum for IFRA category 9. Ask its supplier for the"
                " certificate and enter the maximum."
            )
            yield FragranceWithoutCertificate, (message, path, {})
        elif fragrance.is_over:
            message = (
                f"{name} would be {percent(fragrance.share)} of the finished soap; its certificate"
                f" allows {percent(fragrance.maximum)} (IFRA category 9)."
            )
            details = {"share": str(fragrance.share), "maximum": str(fragrance.maximum)}
            yield FragranceOverMaximum, (message, path, details)
