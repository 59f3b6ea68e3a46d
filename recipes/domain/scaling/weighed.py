"""What is told of a plan because of the scales that it is weighed on."""

from collections.abc import Iterable, Iterator

from recipes.domain.formulas.formula import Notice
from recipes.domain.scales import Scales
from studio.foundation.units.writing import grams

#: Code of what is less than the finest scale shows.
TOO_FINE = "finer-than-scale"


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
