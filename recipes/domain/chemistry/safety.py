"""What is never made: a lye-heavy soap, and more fragrance than its certificate allows.

`recheck` serves every stage: a plan with the materials' nominal values, a reservation with the
values of the lots that were picked, and a pour with the weights that were really taken.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_FLOOR, Decimal

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.chemistry.lye import PureAlkali
from recipes.domain.chemistry.lye_plan import Demand, demand_of
from recipes.domain.formulas.formula import BATTER_STAGES, ONE, ZERO, Basis, Notice
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine
from recipes.errors import (
    FragranceOverMaximum,
    FragranceWithoutCertificate,
    LyeHeavy,
    SafetyRefusal,
)
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

MICRO = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class LotTake:
    """Mass taken for a line from one lot, with what that lot's certificate says.

    What is None is taken from the material. `mass_ng` of a counted material is pieces x piece mass.
    """

    mass_ng: int
    sv_mg_koh_g: Decimal | None = None
    acid_naoh_g_per_g: Decimal | None = None
    ifra_category9_max_share: Decimal | None = None

    def __post_init__(self) -> None:
        _refuse_negative(self.mass_ng)


@dataclass(frozen=True, slots=True)
class AlkaliTake:
    """Mass taken from one lot of alkali or masterbatch; `purity` None means the formula's."""

    mass_ng: int
    purity: Decimal | None = None

    def __post_init__(self) -> None:
        _refuse_negative(self.mass_ng)


@dataclass(frozen=True, slots=True)
class LotValues:
    """What is really taken. A line, or an alkali, that is left out is taken as planned.

    `lines` goes from the position of a line to its takes; an empty sequence says that none was
    taken. `water_ng` is the plain water.
    """

    lines: Mapping[int, Sequence[LotTake]] = field(default_factory=dict)
    naoh: Sequence[AlkaliTake] | None = None
    koh: Sequence[AlkaliTake] | None = None
    masterbatch: Sequence[AlkaliTake] | None = None
    water_ng: int | None = None


AS_PLANNED = LotValues()


@dataclass(frozen=True, slots=True)
class FragranceShare:
    """A fragrance's share of the finished soap against its certified maximum (IFRA category 9).

    It is the sum over all lines of the material; `position` is that of the first.
    """

    position: int
    share: Decimal
    maximum: Decimal | None

    @property
    def is_over(self) -> bool:
        """Whether it is above a maximum that is known."""
        return self.maximum is not None and self.share > self.maximum


@dataclass(frozen=True, slots=True)
class SafetyCheck:
    """What results from the takes. Masses in ng, shares of 1; `superfat` is rounded down."""

    superfat: Decimal
    batter_ng: int
    finished_ng: int
    fragrances: tuple[FragranceShare, ...]
    notices: tuple[Notice, ...] = ()


def recheck(batch: ScaledBatch, lot_values: LotValues = AS_PLANNED) -> SafetyCheck:
    """Superfat and fragrance shares from what is really taken; refuse what is not safe.

    Raises `LyeHeavy`, `FragranceOverMaximum` or `FragranceWithoutCertificate`; when more than one
    kind of fault is found, `SafetyRefusal` with all of them.
    """
    check = evaluate(batch, lot_values)
    faults = [*_lye_faults(check), *_fragrance_faults(batch, check)]
    if faults:
        kinds = {kind for kind, _ in faults}
        found = Faults()
        for kind, (message, path, details) in faults:
            found.add(kind.code, message, path, **details)
        found.raise_if_any(kinds.pop() if len(kinds) == 1 else SafetyRefusal)
    return check


def evaluate(batch: ScaledBatch, lot_values: LotValues = AS_PLANNED) -> SafetyCheck:
    """The same figures without refusing: for showing a plan that is still being changed."""
    taken = [(scaled, _takes(scaled, lot_values)) for scaled in batch.lines]
    superfat = _demand(taken).superfat_with(pure_alkali_of(batch, lot_values))
    batter_ng = _batter(batch, taken, lot_values)
    finished = batter_ng * (1 - batch.formula.cure_loss_share)
    fragrances = tuple(_fragrance_shares(taken, finished))
    return SafetyCheck(
        superfat=superfat.quantize(MICRO, ROUND_FLOOR),
        batter_ng=batter_ng,
        finished_ng=round(finished),
        fragrances=fragrances,
        notices=tuple(_together(fragrances)),
    )


def _refuse_negative(mass_ng: int) -> None:
    if mass_ng < 0:
        raise SafetyRefusal("A weight cannot be below 0.", field="mass_ng")


Taken = list[tuple[ScaledLine, Sequence[LotTake]]]
Found = tuple[type[SafetyRefusal], tuple[str, str, dict[str, str]]]


def _takes(scaled: ScaledLine, lot_values: LotValues) -> Sequence[LotTake]:
    """The takes of a line with the material's own values where the lot has none."""
    material = scaled.line.ingredient
    return [
        replace(
            take,
            sv_mg_koh_g=_either(take.sv_mg_koh_g, material.sv_mg_koh_g),
            acid_naoh_g_per_g=_either(take.acid_naoh_g_per_g, material.acid_naoh_g_per_g),
            ifra_category9_max_share=_either(
                take.ifra_category9_max_share, material.ifra_category9_max_share
            ),
        )
        for take in lot_values.lines.get(scaled.position, (LotTake(scaled.rounded_ng),))
    ]


def _either(lots: Decimal | None, materials: Decimal | None) -> Decimal | None:
    return materials if lots is None else lots


def _demand(taken: Taken) -> Demand:
    fats: list[tuple[int, Decimal]] = []
    acids: list[tuple[int, Decimal]] = []
    for scaled, takes in taken:
        if not scaled.in_batter:
            continue
        if scaled.line.basis is Basis.SHARE_OF_FATS:
            fats.extend((take.mass_ng, take.sv_mg_koh_g or ZERO) for take in takes)
        acids.extend(
            (take.mass_ng, take.acid_naoh_g_per_g) for take in takes if take.acid_naoh_g_per_g
        )
    return demand_of(fats, acids)


def pure_alkali_of(batch: ScaledBatch, lot_values: LotValues) -> PureAlkali:
    """Pure NaOH and KOH in what is taken, by the lots' purities where they have their own."""
    alkali = batch.formula.alkali
    naoh = _pure(lot_values.naoh, batch.naoh_ng, alkali.naoh_purity)
    stored = _pure(
        lot_values.masterbatch, batch.masterbatch_ng, alkali.masterbatch_strength or ZERO
    )
    return PureAlkali(
        naoh=naoh + stored, koh=_pure(lot_values.koh, batch.koh_ng, alkali.koh_purity)
    )


def _pure(takes: Sequence[AlkaliTake] | None, planned_ng: int, purity: Decimal) -> Decimal:
    if takes is None:
        return planned_ng * purity
    return sum(
        (take.mass_ng * (purity if take.purity is None else take.purity) for take in takes), ZERO
    )


def _batter(batch: ScaledBatch, taken: Taken, lot_values: LotValues) -> int:
    inside = sum(
        take.mass_ng
        for scaled, takes in taken
        if scaled.line.stage in BATTER_STAGES
        for take in takes
    )
    alkali = sum(
        planned if takes is None else sum(take.mass_ng for take in takes)
        for takes, planned in (
            (lot_values.naoh, batch.naoh_ng),
            (lot_values.koh, batch.koh_ng),
            (lot_values.masterbatch, batch.masterbatch_ng),
        )
    )
    water = batch.extra_water_ng if lot_values.water_ng is None else lot_values.water_ng
    return inside + alkali + water


def _fragrance_shares(taken: Taken, finished: Decimal) -> Iterable[FragranceShare]:
    """Of what is a fragrance, and of what else has a certified maximum (a perfumed oil).

    The lines of one material count together, under the position of the first: a maximum is one of
    the finished product, however often the recipe writes the material down.
    """
    together: dict[str, list[tuple[ScaledLine, Sequence[LotTake]]]] = defaultdict(list)
    for scaled, takes in taken:
        together[scaled.line.ingredient.code].append((scaled, takes))
    for lines in together.values():
        first = lines[0][0]
        takes = [take for _, some in lines for take in some if take.mass_ng]
        known = [m for take in takes if (m := take.ifra_category9_max_share) is not None]
        if takes and (known or first.line.ingredient.kind is MaterialKind.FRAGRANCE):
            yield FragranceShare(
                position=first.position,
                share=sum(take.mass_ng for take in takes) / finished,
                maximum=min(known) if len(known) == len(takes) else None,
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


def _lye_faults(check: SafetyCheck) -> Iterable[Found]:
    if check.superfat < 0:
        yield (
            LyeHeavy,
            (
                f"Lye-heavy: the superfat would be {percent(check.superfat)}, so free lye would"
                " stay in the soap and burn. Use less alkali or more fat.",
                "superfat",
                {"superfat": str(check.superfat)},
            ),
        )


def _fragrance_faults(batch: ScaledBatch, check: SafetyCheck) -> Iterable[Found]:
    for fragrance in check.fragrances:
        name = batch.lines[fragrance.position].line.ingredient.name
        path = f"lines.{fragrance.position}"
        if fragrance.maximum is None:
            message = (
                f"{name} has no certified maximum for IFRA category 9. Ask its supplier for the"
                " certificate and enter the maximum."
            )
            yield FragranceWithoutCertificate, (message, path, {})
        elif fragrance.share > fragrance.maximum:
            message = (
                f"{name} would be {percent(fragrance.share)} of the finished soap; its certificate"
                f" allows {percent(fragrance.maximum)} (IFRA category 9)."
            )
            details = {"share": str(fragrance.share), "maximum": str(fragrance.maximum)}
            yield FragranceOverMaximum, (message, path, details)
