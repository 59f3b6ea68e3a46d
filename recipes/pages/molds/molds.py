"""The molds: what each holds, how many bars it gives, and how one is written down or changed."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.domain.molds.molds import bars, fill_volume_nl
from recipes.domain.molds.shapes import full_volume_nl
from recipes.models.molds.molds import Mold, MoldShape
from recipes.queries.formulas.listed import active_soaps
from recipes.queries.molds.molds import cut_of, mold_by_code
from recipes.services.molds.drawings import drawing_of
from recipes.services.molds.molds import ALL_SIZES, ALSO, SIZES, check_mold, save_mold
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.row_forms import NamedRowForm, expected_of
from studio.web.pages.ruled import GET, page, who

SHAPES = {
    MoldShape.RECTANGULAR: "A box, such as a loaf",
    MoldShape.TAPERED: "A box with slanting sides",
    MoldShape.CYLINDER: "An upright tube",
    MoldShape.LYING_CYLINDER: "A tube that lies on its side",
    MoldShape.SLAB: "A slab, with or without dividers",
    MoldShape.MEASURED: "Any shape, measured by its volume",
}
#: Measures that mean nothing where they are left empty.
_NONE_IS_ZERO = ("divider", "trim")


class MoldForm(NamedRowForm):
    """One mold, measured inside. Only the measures of its shape are read."""

    shape = forms.ChoiceField(
        choices=[(shape.value, words) for shape, words in SHAPES.items()],
        initial=MoldShape.RECTANGULAR.value,
        label="Shape",
    )

    class Meta(NamedRowForm.Meta):
        model = Mold
        fields = described(Mold)

    def __init__(self, *args: Any, instance: Mold | None = None, **kwargs: Any) -> None:
        if instance is not None:
            kwargs["initial"] = {name: getattr(instance, name) or None for name in _NONE_IS_ZERO}
        super().__init__(*args, instance=instance, **kwargs)

    @property
    def sizes(self) -> list[tuple[Any, str]]:
        """The measures, each with the shapes it belongs to."""
        return [
            (self[name], " ".join(f"of-{shape.value}" for shape in MoldShape if name in of(shape)))
            for name in (*ALL_SIZES, "divider")
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        shape = MoldShape(given["shape"]) if given.get("shape") else MoldShape.RECTANGULAR
        for name in (*ALL_SIZES, "divider"):
            if name not in of(shape):
                # What stands in a field that the shape does not show was not meant for it.
                given[name] = None
                self.errors.pop(name, None)
        return given


def of(shape: MoldShape) -> tuple[str, ...]:
    """The measures that a shape has."""
    return SIZES[shape] + ALSO.get(shape, ())


@page(Capability.PLAN)
def mold_new(request: HttpRequest) -> HttpResponse:
    """Add a mold."""
    form = MoldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            mold = save_mold(*form.given_row(), by=who(request))
            messages.success(request, f"{mold.name} is added. Recipes can be scaled to it.")
            return see_other(request, "mold-page", mold.code)
    return form_page(request, "recipes/molds/edit.html", _context(request, form, None))


@page(Capability.PLAN)
def mold_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a mold. Batches keep the weights they were planned with."""
    kept = mold_by_code(code)
    form = MoldForm(request.POST or None, instance=kept)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            save_mold(*form.given_row(), by=who(request), expected=expected_of(request))
            messages.success(request, f"{form.cleaned_data['name']} is changed.")
            return see_other(request, "mold-page", code)
    return form_page(request, "recipes/molds/edit.html", _context(request, form, kept))


@page(Capability.PLAN, methods=("POST",))
def mold_holds(request: HttpRequest) -> HttpResponse:
    """What the measures written so far hold, as a fragment; nothing is stored."""
    known = Mold.objects.filter(code=request.POST.get("known", "")).first()
    form = MoldForm(request.POST, instance=known)
    return render(request, "recipes/molds/_holds.html", {"holds": holding(form)})


def holding(form: MoldForm) -> dict[str, Any]:
    """What the mold that is written holds, or why nothing can be said yet."""
    form.is_valid()
    measures = [name for name in form.errors if name not in ("name", "code", "note")]
    if measures:
        return {"trouble": [(form[name].label, form.errors[name][0]) for name in measures]}
    mold = form.given_row()[0]
    try:
        check_mold(mold)
    except Refusal as refusal:
        fields = form.fields
        return {
            "trouble": [
                (fields[fault.field].label if fault.field in fields else "Mold", fault.message)
                for fault in refusal.faults
            ]
        }
    return shown_mold(mold)


def shown_mold(mold: Mold) -> dict[str, Any]:
    """Volumes, bars and drawing of a mold that can be."""
    cut = cut_of(mold)
    try:
        drawn: Chart | None = drawing_of(mold)
    except Refusal:
        # Measured by volume alone: there is no depth to draw.
        drawn = None
    return {
        "full": full_volume_nl(cut.mold),
        "fill": fill_volume_nl(cut.mold, cut.fill_height_nm),
        "bars": bars(cut),
        "drawing": drawn,
    }


def _context(request: HttpRequest, form: MoldForm, kept: Mold | None) -> dict[str, Any]:
    holds: dict[str, Any] | None = None
    if request.method == "POST" or kept is not None:
        written = request.POST if request.method == "POST" else None
        holds = holding(MoldForm(written, instance=kept)) if written else _kept(kept)
    return {"form": form, "mold": kept, "holds": holds}


def _kept(mold: Mold | None) -> dict[str, Any] | None:
    try:
        return shown_mold(mold) if mold is not None else None
    except Refusal as refusal:
        # Kept before a rule was made: what is wrong is what to mend here.
        return {"trouble": [("Mold", fault.message) for fault in refusal.faults]}


class MoldFilter(forms.Form):
    """What is looked for among the molds."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer in use")


@page(Capability.READ, methods=GET)
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


@page(Capability.READ, methods=GET)
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
