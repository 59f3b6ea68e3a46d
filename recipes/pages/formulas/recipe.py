"""The page of a recipe: what it is, what goes in, what its fats are, and what became of it."""

from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import FormulaKind
from recipes.pages.formulas.amounts import STAGES, said_amount
from recipes.pages.formulas.draft import acids_chart
from recipes.queries.formulas.formulas import LoadedFormula, formula_by_code, load_formula
from recipes.queries.formulas.history import latest_batches, versions_of
from recipes.services.formulas.fats_profile import summary_of
from studio.foundation.roles import Capability
from studio.web.pages.ruled import page

MOST_BATCHES = 12
#: In which order the stages come at the bench.
_ORDER = list(Stage)


@page(Capability.READ, methods=("GET", "HEAD"))
def recipe_page(request: HttpRequest, code: str) -> HttpResponse:
    """A recipe: the newest version, or the one that the address names with ?version=."""
    versions: list[Any] = list(versions_of(code))
    if not versions:
        return render(request, "recipes/formulas/recipe.html", {"recipe": formula_by_code(code)})
    asked = request.GET.get("version", "")
    number = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 10 else None
    loaded = load_formula(code=code, number=number)
    made = [version for version in versions if version.last_made]
    context = {
        "recipe": loaded.version.formula,
        "version": loaded.version,
        "is_newest": loaded.version.number == versions[0].number,
        "newest": versions[0].number,
        "versions": versions,
        "before": _before(versions, loaded.version.number),
        "last_made": max((version.last_made for version in made), default=None),
        "batches": latest_batches(code, most=MOST_BATCHES),
    }
    return render(request, "recipes/formulas/recipe.html", context | _content(loaded))


def _before(versions: list[Any], number: int) -> int | None:
    return next((one.number for one in versions if one.number < number), None)


def _content(loaded: LoadedFormula) -> dict[str, Any]:
    is_soap = loaded.version.formula.kind == FormulaKind.SOAP
    fats = summary_of(loaded.rows) if is_soap else None
    return {
        "is_soap": is_soap,
        "stages": stages_of(loaded),
        "fats": fats,
        "chart": acids_chart(fats, prefix="acids") if fats else None,
        "portions": loaded.soap.portions if loaded.soap else (),
        "layers": loaded.layers,
    }


def stages_of(loaded: LoadedFormula) -> list[tuple[str, list[dict[str, Any]]]]:
    """The lines by stage, each with its amount in words."""
    rows = sorted(loaded.rows, key=lambda row: (_ORDER.index(Stage(row.stage)), row.position))
    soap = loaded.soap is not None
    return [
        (
            STAGES[Stage(stage)].capitalize() if soap else "What goes in",
            [
                {
                    "row": row,
                    "said": said_amount(row.amount, Basis(row.basis), counted=row.material.counted),
                }
                for row in lines
            ],
        )
        for stage, lines in groupby(rows, key=lambda row: row.stage)
    ]
