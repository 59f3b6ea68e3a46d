"""What must be made first for a batch, level below level, and one button to plan it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.models.bench.batches import Batch
from recipes.queries.bench.batches import batch_by_code
from recipes.services.levels.explosion import ExplodedPlan, tree_of
from recipes.services.levels.multilevel import explode_batch, plan_below
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.graph import Node, layered_graph
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import GET, page
from studio.web.pages.writing import written_mass

_TOP = "top"


@page((Capability.READ, Capability.COMPUTE), methods=GET)
def parts_page(request: HttpRequest, code: str) -> HttpResponse:
    """What a planned batch waits for: what is made here first, and what is bought."""
    batch = batch_by_code(code)
    if batch.state != "planned":
        return see_other(request, "batch-page", code)
    return _answer(request, batch, forms.Form({}))


@page(Capability.PLAN, methods=("POST",), once=True)
def plan_parts_page(request: HttpRequest, code: str) -> HttpResponse:
    """Plan the batches that make what a planned batch is short of."""
    form = forms.Form({})
    try:
        planned = plan_below(code, by=request.user)  # type: ignore[arg-type]
    except Refusal as refusal:
        place_faults(refusal, form)
        return _answer(request, batch_by_code(code), form)
    codes = ", ".join(batch.code for batch in planned.making)
    said = f"Planned to be made first: {codes}." if codes else "Nothing more is to be made first."
    messages.success(request, said)
    return see_other(request, "batch-page", code)


def _answer(request: HttpRequest, batch: Batch, form: forms.Form) -> HttpResponse:
    exploded = None
    try:
        exploded = explode_batch(batch.code)
    except Refusal as refusal:
        if not form.errors:
            place_faults(refusal, form)
    context: dict[str, Any] = {"batch": batch, "form": form, "exploded": exploded}
    if exploded is not None:
        context |= _shown(exploded, batch, preferences_of(request.user).units)
    return form_page(request, "recipes/levels/batch_parts.html", context)


def _shown(exploded: ExplodedPlan, batch: Batch, units: str) -> dict[str, Any]:
    materials = exploded.materials
    return {
        "making": [
            {
                "material": materials[one.need.material],
                "one": one,
                "users": [
                    batch.code if user is None else materials[user].name for user in one.users
                ],
            }
            for one in exploded.found.proposals
        ],
        "shortages": [
            {"material": materials[need.material], "need": need}
            for need in exploded.found.shortages
        ],
        "graph": _graph(exploded, batch, units) if exploded.found.proposals else None,
    }


def _graph(exploded: ExplodedPlan, batch: Batch, units: str) -> Chart:
    """What is made of what, with the batch at the right end. Each material is one node."""
    tree = tree_of(exploded)
    needs, materials = exploded.found.needs, exploded.materials
    made = {one.need.material for one in exploded.found.proposals}
    nodes = [Node(key=_TOP, label=batch.code, sub=batch.version.formula.name, is_subject=True)]
    for material in dict.fromkeys(node.material for node in tree):
        short = needs[material].short if material in needs else 0
        amount = needs[material].needed if material in needs else 0
        counted = materials[material].counted
        state = "made first" if material in made else "short" if short else "there"
        nodes.append(
            Node(
                key=str(material),
                label=materials[material].name,
                sub=how_many(amount, "piece") if counted else written_mass(amount, units)[0],
                state=state,
                tone="plain" if material in made else "soon" if short else "good",
            )
        )
    edges = [
        (str(node.material), _TOP if node.under is None else str(tree[node.under].material))
        for node in tree
    ]
    return layered_graph(prefix="parts", title="What is made of what", nodes=nodes, edges=edges)
