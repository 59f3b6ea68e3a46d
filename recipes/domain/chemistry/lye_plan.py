"""The lye of a batch in what is weighed: alkali or masterbatch, and water, on given scales.

Lye burns: whoever shows these weights shows `recipes.domain.bench.cautions` beside them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.chemistry import lye
from recipes.domain.chemistry.lye import ZERO, PureAlkali
from recipes.domain.formulas.formula import Alkali
from recipes.domain.scales import Scales
from recipes.domain.weighing import to_step
from recipes.errors import LyeHeavy, ScalingRefusal
from studio.foundation.units.writing import grams, percent

#: Rounding the water to the scale may pass the solubility limit by this much, no more.
ROUNDING_ROOM = Decimal("0.005")
#: As if by a scale that shows nanograms.
TO_THE_NANOGRAM = Scales(step_ng=1)


@dataclass(frozen=True, slots=True)
class AlkaliWeights:
    """Alkali as weighed, in ng: dry NaOH and KOH with their impurities, and masterbatch lye."""

    naoh_ng: int = 0
    koh_ng: int = 0
    masterbatch_ng: int = 0

    @property
    def total_ng(self) -> int:
        """All of it."""
        return self.naoh_ng + self.koh_ng + self.masterbatch_ng

    def pure(self, alkali: Alkali) -> PureAlkali:
        """Pure NaOH and KOH in it, by the purities and the strength of `alkali`."""
        return PureAlkali(
            naoh=self.naoh_ng * alkali.naoh_purity
            + self.masterbatch_ng * (alkali.masterbatch_strength or ZERO),
            koh=self.koh_ng * alkali.koh_purity,
        )


@dataclass(frozen=True, slots=True)
class LyePlan:
    """Lye as it will be weighed, in ng, and what results from those weights.

    `extra_water_ng` is plain water to weigh. `water_ng` is all water of the lye: plain, from the
    masterbatch and from liquids that count (`counted_water_ng`). `pure` is without impurities.
    """

    weights: AlkaliWeights
    extra_water_ng: int
    counted_water_ng: int
    water_ng: int
    pure: PureAlkali
    superfat: Decimal
    concentration: Decimal

    @property
    def total_ng(self) -> int:
        """Mass of the whole lye, water of counted liquids included."""
        return self.weights.total_ng + self.extra_water_ng + self.counted_water_ng


@dataclass(frozen=True, slots=True)
class Demand:
    """What the lye has to meet, in ng: pure KOH for the fats, pure NaOH for the acids."""

    koh: Decimal
    acid_naoh: Decimal = ZERO

    def superfat_with(self, pure: PureAlkali) -> Decimal:
        """Superfat that results; below 0 is lye-heavy."""
        return lye.resulting_superfat(demand_koh=self.koh, acid_naoh=self.acid_naoh, alkali=pure)


def demand_of(
    fats: Iterable[tuple[int, Decimal]],
    acids: Iterable[tuple[int, Decimal]] = (),
    carbonates: Iterable[tuple[int, Decimal]] = (),
) -> Demand:
    """Demand of (mass in ng, mg KOH/g) fats and (mass in ng, g NaOH per g) acids.

    Carbonates, told as acids are, take of the acids and never saponify neutral fat, so what the
    acids are short of them is no alkali for the fats.
    """
    return Demand(koh=lye.koh_demand(fats), acid_naoh=max(_left(acids, carbonates), ZERO))


def worst_demand(
    fats: Iterable[tuple[int, Decimal]],
    acids: Iterable[tuple[int, Decimal]] = (),
    carbonates: Iterable[tuple[int, Decimal]] = (),
) -> Demand:
    """The same at worst: `fats` by the low ends of their ranges, and no carbonate without an acid.

    Where fats are free acids themselves, carbonate takes of them, and leaves more of the alkali
    than the acids take.
    """
    return Demand(koh=lye.koh_demand(fats), acid_naoh=_left(acids, carbonates))


def _left(
    acids: Iterable[tuple[int, Decimal]], carbonates: Iterable[tuple[int, Decimal]]
) -> Decimal:
    """NaOH that acids take beyond carbonates, in ng; below 0 where there is more of these."""
    acid = sum((mass * factor for mass, factor in acids), ZERO)
    return acid - sum((mass * factor for mass, factor in carbonates), ZERO)


def plan_lye(
    alkali: Alkali,
    demand: Demand,
    *,
    scales: Scales = TO_THE_NANOGRAM,
    counted_water_ng: int = 0,
    dissolving_water_ng: int = 0,
) -> LyePlan:
    """Alkali and water to weigh for a demand: alkali rounded down to its scale's step, so that no
    more of it is weighed than was asked for, water to the nearest.

    The settings must be sound: `check_formula` or `check_alkali` sees to it.

    `counted_water_ng` is water that liquids bring and that counts toward the lye;
    `dissolving_water_ng` is water of liquids that the dry alkali is dissolved in. Raises
    `ScalingRefusal` when the liquids bring more water than the concentration leaves room for, when
    too little is left to dissolve dry alkali in (also beside a stored lye), or when an alkali is
    less than its scale can show; `LyeHeavy` never on a valid formula.
    """
    weights = _weigh(alkali, demand, scales)
    pure = weights.pure(alkali)
    superfat = demand.superfat_with(pure)
    if lye.is_lye_heavy(superfat):
        raise LyeHeavy(f"The superfat would be {percent(superfat)}.", field="alkali.superfat")
    wanted = lye.lye_mass(pure=pure.mass, concentration=alkali.lye_concentration)
    extra = _extra_water(alkali, wanted - weights.total_ng, counted_water_ng, scales)
    _check_dissolves(weights, pure, extra + dissolving_water_ng)
    stored = weights.masterbatch_ng * (1 - (alkali.masterbatch_strength or ZERO))
    return LyePlan(
        weights=weights,
        extra_water_ng=extra,
        counted_water_ng=counted_water_ng,
        water_ng=extra + counted_water_ng + int(stored),
        pure=pure,
        superfat=superfat,
        concentration=lye.concentration(
            pure=pure.mass, lye=weights.total_ng + extra + counted_water_ng
        ),
    )


def _weigh(alkali: Alkali, demand: Demand, scales: Scales) -> AlkaliWeights:
    exact = lye.pure_alkali(
        demand_koh=demand.koh,
        superfat=alkali.superfat,
        acid_naoh=demand.acid_naoh,
        koh_share=alkali.koh_share,
    )
    naoh = exact.naoh / (alkali.masterbatch_strength or alkali.naoh_purity)
    koh = exact.koh / alkali.koh_purity
    stored = alkali.masterbatch_strength is not None
    weighed = {"lye" if stored else "NaOH": naoh, "KOH": koh}
    refuse_less_than_shown(weighed, scales)
    return _weights(scales.down(naoh), scales.down(koh), stored=stored)


def refuse_less_than_shown(alkalis: Mapping[str, Decimal], scales: Scales) -> None:
    """Refuse alkali (ng by name) that rounding down would leave nothing of.

    Raises ScalingRefusal.
    """
    none_of = [name for name, mass in alkalis.items() if mass > 0 and not scales.down(mass)]
    if none_of:
        raise ScalingRefusal(
            f"The batch is so small that no scale here weighs its {' and '.join(none_of)} (the"
            f" finest shows {grams(scales.finest_step_ng)}): use a finer scale or make more.",
            field="resolution",
        )


def _weights(naoh_ng: int, koh_ng: int, *, stored: bool) -> AlkaliWeights:
    if stored:
        return AlkaliWeights(koh_ng=koh_ng, masterbatch_ng=naoh_ng)
    return AlkaliWeights(naoh_ng=naoh_ng, koh_ng=koh_ng)


def _extra_water(alkali: Alkali, room: Decimal, counted_water_ng: int, scales: Scales) -> int:
    """What is missing to the concentration; under half a step of the scale nothing is missing."""
    missing = room - counted_water_ng
    extra = to_step(missing, scales.on(missing).step_ng)
    if extra >= 0:
        return extra
    raise ScalingRefusal(
        f"The liquids bring {grams(counted_water_ng, 1)} of water that counts, but lye of"
        f" {percent(alkali.lye_concentration)} has room for {grams(round(max(room, ZERO)), 1)}"
        " besides its alkali. Use less of the liquids, let their water not count, or ask for a"
        " lower lye concentration.",
        field="alkali.lye_concentration",
    )


def _check_dissolves(weights: AlkaliWeights, pure: PureAlkali, water_ng: int) -> None:
    """What is weighed dry; a stored lye is dissolved already, and KOH beside it is not."""
    dry = pure.koh if weights.masterbatch_ng else pure.mass
    if not dry:
        return
    strength = lye.concentration(pure=dry, lye=weights.naoh_ng + weights.koh_ng + water_ng)
    if strength > lye.STRONGEST_LYE + ROUNDING_ROOM:
        raise ScalingRefusal(
            f"The alkali would have to dissolve to {percent(strength)}, and it does not stay"
            f" dissolved above {percent(lye.STRONGEST_LYE)}: solid alkali in the batter burns."
            " Count less of the liquids that go in later, or put a liquid into the lye.",
            field="alkali.lye_concentration",
        )
