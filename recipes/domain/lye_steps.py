"""The lye step of a batch sheet in words, in the order of the bench. Common practice, no source.

Whoever shows these shows `recipes.domain.cautions` beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from studio.units import format_amount


@dataclass(frozen=True, slots=True, kw_only=True)
class LyeToMix:
    """What the lye is mixed from, in ng; `liquids` names what else goes into the lye water."""

    naoh_ng: int = 0
    koh_ng: int = 0
    masterbatch_ng: int = 0
    water_ng: int = 0
    liquids: Sequence[str] = ()
    pour_temperature_c: Decimal = Decimal(40)


def lye_steps(lye: LyeToMix) -> tuple[str, ...]:
    """One sentence a step. Alkali and stored lye always go into the water."""
    into = [f"{_grams(lye.water_ng)} of water"] if lye.water_ng else []
    into += lye.liquids
    steps = []
    if into:
        steps.append(f"Put {_and(into)} into a heat-proof container.")
    dry = [
        f"{_grams(mass)} of {name}"
        for name, mass in (("NaOH", lye.naoh_ng), ("KOH", lye.koh_ng))
        if mass
    ]
    if dry:
        steps += _dry_steps(dry, dissolved_in_stored=not into and bool(lye.masterbatch_ng))
    if lye.masterbatch_ng:
        stored = f"{_grams(lye.masterbatch_ng)} of the stored lye"
        if into:
            steps.append(f"Pour {stored} slowly into the water, stirring.")
        else:
            steps.insert(0, f"Weigh {stored} into a heat-proof container.")
    steps.append(
        f"Let the lye cool before it goes into the fats; the recipe is poured at "
        f"{lye.pour_temperature_c.normalize():f} °C."
    )
    return tuple(steps)


def _dry_steps(dry: Sequence[str], *, dissolved_in_stored: bool) -> list[str]:
    where = "the stored lye" if dissolved_in_stored else "the water"
    return [
        f"Weigh {_and(dry)} into a separate dry container.",
        f"Add the alkali to {where} little by little, stirring until it is dissolved; never pour "
        "liquid onto the alkali.",
    ]


def _and(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _grams(mass_ng: int) -> str:
    return f"{format_amount(mass_ng, 'g')} g"
