"""Two versions of a recipe side by side: what came in, what went out, what changed."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.queries.formulas.differences import line_differences, setting_differences
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.formulas.listed import versions_of
from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability
from studio.web.pages.ruled import page


@page(Capability.READ, methods=("GET", "HEAD"))
def differences_page(request: HttpRequest, code: str) -> HttpResponse:
    """What differs between the versions ?before= and ?after=; the two newest without them."""
    versions = list(versions_of(code))
    numbers = [version.number for version in versions]
    if not numbers:
        raise NotFound(f"There is no version of {code}.")
    after = _asked(request, "after") or numbers[0]
    earlier = [number for number in numbers if number < after]
    before = _asked(request, "before") or (earlier[0] if earlier else after)
    old, new = (load_formula(code=code, number=number) for number in (before, after))
    lines = line_differences(old.rows, new.rows)
    settings = setting_differences(old, new)
    changed = [one for one in (*lines, *settings) if one.word != "the same"]
    context = {
        "recipe": new.version.formula,
        "versions": sorted(numbers),
        "before": old.version,
        "after": new.version,
        "lines": lines,
        "settings": [one for one in settings if one.word != "the same"],
        "changed": len(changed),
    }
    return render(request, "recipes/formulas/differences.html", context)


def _asked(request: HttpRequest, name: str) -> int | None:
    text = request.GET.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
