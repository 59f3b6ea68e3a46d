"""What a batch cost: each good bar as a waterfall, and where it went off its plan."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.bar_cost.variances import InputVariance, Variances
from costing.errors import BatchNotFinished, BatchNotMade, StandardNotKept
from costing.pages.dated import LOOK
from costing.pages.drawn import added_up, drawn_bar
from costing.queries.bar_cost.batches import BatchCosting, cost_of_batch
from costing.queries.bar_cost.variances import BatchVariances, variances_of
from recipes.queries.bench.batches import batch_by_code
from studio.foundation.drawing.canvas import Chart
from studio.foundation.units.writing import format_amount
from studio.web.pages.ruled import GET, page


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownVariance:
    """One input with its amounts in words."""

    found: InputVariance
    planned: str
    actual: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownVariances:
    """A batch against its plan."""

    found: BatchVariances
    inputs: tuple[ShownVariance, ...]
    drawing: Chart | None


@page(LOOK, methods=GET)
def batch_cost_page(request: HttpRequest, code: str) -> HttpResponse:
    """The cost of a poured, cut or cured batch from the books, and against its plan."""
    batch = batch_by_code(code)
    context: dict[str, Any] = {"batch": batch}
    try:
        cost = cost_of_batch(code)
    except BatchNotMade:
        return render(request, "costing/bar_cost/batch_cost.html", context)
    against, reason = _against(code)
    drawing = None
    if cost.bar is not None and cost.bar.at_least:
        drawing = drawn_bar(cost.bar, prefix="bar", title=f"Cost of a bar of {code}")
    context |= {
        "cost": cost,
        "drawing": drawing,
        "per_gram": None if cost.per_gram is None else round(cost.per_gram),
        "lines": [(line, _parts(cost).get(place)) for place, line in enumerate(cost.cost.lines)],
        "against": against,
        "reason": reason,
    }
    return render(request, "costing/bar_cost/batch_cost.html", context)


def _parts(cost: BatchCosting) -> dict[int, int]:
    """What of a bar each line of the batch is, by the line's place."""
    return {} if cost.bar is None else {n: line.per_bar for n, line in enumerate(cost.bar.lines)}


def _against(code: str) -> tuple[ShownVariances | None, str]:
    """The variances, or why there are none yet."""
    try:
        found = variances_of(code)
    except (BatchNotFinished, StandardNotKept) as refusal:
        return None, str(refusal)
    shown = tuple(
        ShownVariance(
            found=each,
            planned=_amount(each.planned_quantity, each.unit, each.kind),
            actual=_amount(each.actual_quantity, each.unit, each.kind),
        )
        for each in found.found.inputs
    )
    return ShownVariances(found=found, inputs=shown, drawing=_drawn(found.found)), ""


def _amount(quantity: int | None, unit: str, kind: CostKind) -> str:
    """A quantity in words: labor is kept in seconds, materials in ng or pieces."""
    if quantity is None:
        return "not told"
    if unit == "min":
        return f"{round(Fraction(quantity, 60))} min"
    if kind is CostKind.OVERHEAD:
        return f"{quantity} {unit}"
    return f"{format_amount(quantity, unit)} {unit}"


def _drawn(found: Variances) -> Chart | None:
    """Where the difference comes from; the parts that are known add up to it exactly."""
    if found.total is None:
        return None
    material = (CostKind.MATERIAL, CostKind.PACKAGING)
    parts = [
        ("Prices of materials", found.price(*material)),
        ("Use of materials", found.usage(*material)),
        ("Labor rate", found.price(CostKind.LABOR)),
        ("Labor time", found.usage(CostKind.LABOR)),
        ("Overhead rate", found.price(CostKind.OVERHEAD)),
        ("Overhead use", found.usage(CostKind.OVERHEAD)),
        ("Recovered", found.sums.recovered),
        ("Yield", found.yield_),
    ]
    return added_up(
        [(words, part) for words, part in parts if part],
        prefix="variances",
        title="What the batch cost more than its plan",
        total="More than planned",
    )
