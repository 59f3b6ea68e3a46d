"""The scales that the studio weighs on, as the rules see them."""

from typing import TYPE_CHECKING

from recipes.domain import scales as rules
from recipes.models.scales.scales import Scale
from studio.foundation.errors import NotFound

if TYPE_CHECKING:
    from recipes.models.formulas.formulas import FormulaVersion

#: Scales in use, from the finest on.
KeptScales = tuple[rules.Scale, ...]


def kept_scales() -> KeptScales:
    """The scales in use, the finest first. One query."""
    rows = Scale.objects.filter(active=True).order_by("step", "capacity", "name")
    return tuple(
        rules.Scale(name=row.name, step_ng=row.step, capacity_ng=row.capacity) for row in rows
    )


def scales_for(version: "FormulaVersion", kept: KeptScales | None = None) -> rules.Scales:
    """What a version is weighed on: the scales in use, and its own step where there are none.

    One query, none for scales that are read already.
    """
    found = kept_scales() if kept is None else kept
    return rules.Scales(step_ng=version.resolution, kept=found)


def scale_by_code(code: str) -> Scale:
    """The scale with this code. One query. Raises NotFound."""
    try:
        return Scale.objects.get(code=code)
    except Scale.DoesNotExist:
        raise NotFound(f"There is no scale {code}.", field="scale") from None
