"""The molds: what each holds, how many bars it gives, and how one is written down or changed."""

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.models.molds.molds import Mold, MoldShape
from recipes.pages.molds.edit import shown_mold
from recipes.pages.molds.form import SHAPES
from recipes.queries.formulas.listed import active_soaps
from recipes.queries.molds.molds import mold_by_code
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import page


class MoldFilter(forms.Form):
    """What is looked for among the molds."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer in use")


@page(Capability.READ, methods=("GET", "HEAD"))
def mold_list(request: HttpRequest) -> HttpResponse:
    """All molds by name."""
    form = MoldFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = Mold.objects.all()
    if not given.get("old"):
        found = found.filter(active=True)
    if text := given.get("q"):
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    rows = list_page(request, found, order=("name", "id"), filters=form)
    shown = [{"mold": mold, "shape": _shape(mold), "holds": _shown(mold)} for mold in rows.rows]
    return render(request, "recipes/molds/molds.html", {"rows": rows, "shown": shown})


def _shape(mold: Mold) -> str:
    return SHAPES[MoldShape(mold.shape)]


def _shown(mold: Mold) -> dict[str, object]:
    try:
        return shown_mold(mold)
    except Refusal:
        # Measures that were kept before a rule was made; its page is where they are mended.
        return {}


@page(Capability.READ, methods=("GET", "HEAD"))
def mold_page(request: HttpRequest, code: str) -> HttpResponse:
    """A mold, drawn with its fill line, and the recipes to scale to it."""
    mold = mold_by_code(code)
    context = {
        "mold": mold,
        "shape": _shape(mold),
        "holds": _shown(mold),
        "recipes": active_soaps()[:50],
    }
    return render(request, "recipes/molds/mold.html", context)
