"""What is told of a plan because of the scales that it is weighed on."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from recipes.domain.formulas.formula import Notice
from recipes.domain.scales import Scales
from recipes.domain.weighing import down_to_step
from studio.foundation.units.writing import grams

#: Code of what is less than the finest scale shows.
TOO_FINE = "finer-than-scale"
#: Code of alkali whose planned weight stands between two steps of the scale of today.
BETWEEN_STEPS = "alkali-between-steps"


def weighed_notices(masses: Iterable[tuple[str, str, int]], scales: Scales) -> Iterator[Notice]:
    """What no scale holds at once, and what is less than the finest can show.

    `masses` are the name of what is weighed, its path and its mass in ng. Nothing is left out for
    being too little: its weight stands in the plan as it is.
    """
    for name, path, mass in masses:
        how = scales.on(mass)
        if mass and not how.shows(mass):
            step = grams(how.step_ng)
            shown = f"{how.name} shows steps of {step}" if how.name else f"the scale shows {step}"
            yield Notice(
                TOO_FINE,
                f"{name}: {grams(mass, 6)} is less than can be weighed ({shown}). Weigh it on a"
                " finer scale, or make a dilution of it and use that.",
                path,
            )
        if how.goes > 1:
            yield Notice(
                "several-goes",
                f"{name}: {grams(mass)} is more than any scale holds; weigh it in {how.goes} goes"
                f" on {how.name}.",
                path,
            )


def alkali_between_steps(
    masses: Iterable[tuple[str, str, int]], scales: Scales
) -> Iterator[Notice]:
    """Alkali that was planned for a finer scale than it is weighed on: whoever reads its weight to
    the nearest step weighs too much, so the step below is named.

    `masses` as of `weighed_notices`, of alkali alone, as planned.
    """
    for name, path, mass in masses:
        how = scales.on(mass)
        if mass % how.step_ng == 0:
            continue
        least, step = down_to_step(Decimal(mass), how.step_ng), grams(how.step_ng)
        on = f"on {how.name} (its step is {step})" if how.name else f"on a scale that shows {step}"
        what = (
            f"weigh no more than {grams(least)} of {name} {on}"
            if least
            else f"{grams(mass, 6)} of {name} cannot be weighed {on}: take a finer scale"
        )
        told = f"{what}, or give the batch back and plan it anew."
        yield Notice(BETWEEN_STEPS, f"{told[0].upper()}{told[1:]}", path)
