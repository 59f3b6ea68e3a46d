"""The lye step of a batch sheet in words, in the order of the bench. Common practice, no source.

Whoever shows these shows `recipes.domain.bench.cautions` beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.scales import Scales
from studio.foundation.units.writing import grams

#: Of the extra water beside a masterbatch, so that no stored lye is left in its vessel.
USUAL_RINSE = Decimal("0.10")


@dataclass(frozen=True, slots=True, kw_only=True)
class LyeToMix:
    """What the lye is mixed from, in ng; `liquids` names what else goes into the lye water.

    `rinse_ng` of the water is kept back and rinses the lye vessel into the fats.
    """

    naoh_ng: int = 0
    koh_ng: int = 0
    masterbatch_ng: int = 0
    water_ng: int = 0
    rinse_ng: int = 0
    liquids: Sequence[str] = ()
    pour_temperature_c: Decimal = Decimal(40)


def rinse_water(
    water_ng: int, *, share: Decimal | None, dry_ng: int, stored_ng: int, scales: Scales
) -> int:
    """How much of the extra water to keep back for rinsing, in ng, in steps of its scale.

    `share` None is the usual one: a tenth where a masterbatch is used, else none. Beside dry
    alkali as much water as alkali stays, because NaOH does not stay dissolved above 50 %.
    """
    if share is None:
        share = USUAL_RINSE if stored_ng else Decimal(0)
    most = max(water_ng - dry_ng, 0)
    return scales.down(min(water_ng * share, Decimal(most)))


def lye_steps(lye: LyeToMix) -> tuple[str, ...]:
    """One sentence a step. Alkali and stored lye always go into the water."""
    first = lye.water_ng - lye.rinse_ng
    into = [f"{grams(first)} of water"] if first else []
    into += lye.liquids
    steps = []
    if into:
        steps.append(f"Put {_and(into)} into a heat-proof container.")
    if lye.rinse_ng:
        steps.append(f"Keep {grams(lye.rinse_ng)} of the water back for rinsing.")
    dry = [
        f"{grams(mass)} of {name}"
        for name, mass in (("NaOH", lye.naoh_ng), ("KOH", lye.koh_ng))
        if mass
    ]
    if dry:
        steps += _dry_steps(dry, dissolved_in_stored=not into and bool(lye.masterbatch_ng))
    if lye.masterbatch_ng:
        stored = f"{grams(lye.masterbatch_ng)} of the stored lye"
        if into:
            steps.append(f"Pour {stored} slowly into the water, stirring.")
        else:
            steps.insert(0, f"Weigh {stored} into a heat-proof container.")
    steps.append(
        f"Let the lye cool before it goes into the fats; the recipe is poured at "
        f"{lye.pour_temperature_c.normalize():f} °C."
    )
    if lye.rinse_ng:
        steps.append(
            f"Rinse the emptied lye vessel with the {grams(lye.rinse_ng)} of water kept back, and "
            "pour that into the fats as well."
        )
    return tuple(steps)


def _dry_steps(dry: Sequence[str], *, dissolved_in_stored: bool) -> list[str]:
    where = "the stored lye" if dissolved_in_stored else "the water"
    return [
        f"Weigh {_and(dry)} into a separate dry container.",
        f"Add the alkali to {where} little by little, stirring until it is dissolved; never pour "
        "liquid onto the alkali.",
    ]


def tempering_steps(names: Sequence[str], *, temperature_c: Decimal) -> tuple[str, ...]:
    """How liquids with protein (egg, milk) are brought in before the lye. Common practice."""
    if not names:
        return ()
    return (
        f"Blend until smooth, and strain: {_and(names)}.",
        "Mix that into part of the oils, then into all of them, before any lye.",
        f"Bring both to one temperature, {temperature_c.normalize():f} °C: lye cooks protein "
        "that is added to hot batter.",
    )


def _and(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
