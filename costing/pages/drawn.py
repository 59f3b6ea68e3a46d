"""Costs as drawings: a bar's waterfall, costs batch by batch, sums that add up."""

from collections.abc import Iterable, Sequence

from django.conf import settings

from costing.domain.bar_cost.bar_cost import BarCost, bar_waterfall
from costing.queries.bar_cost.recipe_costs import MadeCost
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.curve import DayValue, curve_with_band
from studio.foundation.drawing.scales import Unit
from studio.foundation.drawing.waterfall import Step, waterfall
from studio.foundation.local_words import written_money
from studio.foundation.money import PER_UNIT

#: A part that costs less than this share of the bar is drawn with the others that are as small.
SMALL = 100


def drawn_bar(
    bar: BarCost, *, prefix: str, title: str, more: Iterable[tuple[str, int]] = ()
) -> Chart:
    """The cost of one bar, step by step; `more` (label, amount) is added after its own steps.

    Materials that come to less than a hundredth of the bar are drawn as one step. What is not known
    is not drawn, and the sum says that it is the least.
    """
    steps = [(step.label, step.amount) for step in bar_waterfall(bar)]
    small = [step for step in steps if 0 < step[1] * SMALL < bar.at_least]
    if len(small) > 1:
        steps = [step for step in steps if step not in small]
        steps.append((f"{len(small)} small parts", sum(amount for _, amount in small)))
    steps += [(label, amount) for label, amount in more if amount]
    total = "One bar" if bar.known else "One bar, at least"
    return added_up(steps, prefix=prefix, title=title, total=total)


def added_up(parts: Sequence[tuple[str, int]], *, prefix: str, title: str, total: str) -> Chart:
    """Amounts (label, ten-thousandths) as steps to their sum."""
    whole = sum(amount for _, amount in parts)
    return waterfall(
        prefix=prefix,
        title=title,
        steps=[step(label, amount) for label, amount in parts],
        total=step(total, whole),
    )


def step(label: str, amount: int) -> Step:
    """One amount with its words."""
    return Step(label=label, amount=amount, text=written_money(amount))


def drawn_batches(made: Sequence[MadeCost], *, prefix: str, title: str) -> Chart:
    """What a bar cost in each batch, on the day it was poured."""
    points = [
        DayValue(on=each.poured_on, value=each.per_bar, text=written_money(each.per_bar))
        for each in sorted(made, key=lambda each: each.poured_on)
    ]
    unit = Unit(per_unit=int(PER_UNIT), word=settings.STUDIO_CURRENCY)
    return curve_with_band(prefix=prefix, title=title, points=points, unit=unit)


def length(value: int | None, whole: int) -> int:
    """A value as hundredths of the largest, for a bar in a table's cell."""
    return 0 if not value or whole <= 0 else max(round(100 * value / whole), 1)
