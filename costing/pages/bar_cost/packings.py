"""Packaging sets: what a bar and a shipping carton take, and since when."""

from typing import Any

from django import forms
from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.pages.dated import LOOK, SET, from_day
from costing.queries.rates.set_up import packaging_set_at, packaging_sets
from costing.services.bar_cost.packaging import (
    MOST_PIECES,
    EditionDescription,
    PieceDescription,
    SetDescription,
    open_set,
    put_edition,
    save_set,
)
from inventory.queries.catalog.materials import counted_materials
from recipes.domain.weighing import MOST_BARS
from studio.foundation.errors import Refusal
from studio.web.pages.forms import (
    OptionalRows,
    faults_on,
    filled,
    form_page,
    place_faults,
    see_other,
    unchanged_since,
)
from studio.web.pages.ruled import GET, page, who

MOST_KINDS = 50
PER = {PackagingPiece.Per.BAR: "for each bar", PackagingPiece.Per.CARTON: "for each carton"}


class NewSetForm(forms.Form):
    """A packaging set by its name."""

    name = forms.CharField(max_length=120, label="Name")
    code = forms.SlugField(max_length=40, label="Short code")


class SetForm(NewSetForm):
    """One that is there, used on or put away."""

    active = forms.BooleanField(required=False, initial=True, label="Is used on")


class EditionForm(forms.Form):
    """From when it holds, and how many bars go into a carton."""

    effective_from = from_day()
    bars_per_carton = forms.IntegerField(
        min_value=1, max_value=MOST_BARS, initial=24, label="Bars in a shipping carton"
    )


class PieceForm(forms.Form):
    """Pieces of one counted material."""

    material = forms.ChoiceField(label="Material")
    per = forms.ChoiceField(label="Taken", choices=[(per.value, word) for per, word in PER.items()])
    pieces = forms.IntegerField(
        min_value=1,
        max_value=MOST_PIECES,
        label="Pieces",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )

    def __init__(self, *args: Any, materials: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["material"].choices = [("", "Choose one"), *materials]  # type: ignore[attr-defined]

    def has_changed(self) -> bool:
        """A row says something once a material or a number stands in it."""
        return any(self[name].data for name in ("material", "pieces"))


Pieces = formset_factory(
    PieceForm, formset=OptionalRows, extra=3, max_num=MOST_KINDS, validate_max=True
)


@page(LOOK, methods=GET)
def packings_page(request: HttpRequest) -> HttpResponse:
    """Every set with what it takes now and from which day."""
    today = timezone.localdate()
    found = [(one, _in_force(one, today)) for one in packaging_sets()]
    return render(request, "costing/bar_cost/packings.html", {"found": found})


def _in_force(one: PackagingSet, today: Any) -> PackagingEdition | None:
    begun = [each for each in one.editions.all() if each.effective_from <= today]
    return max(begun, key=lambda each: each.effective_from, default=None)


@page(SET)
def packing_new(request: HttpRequest) -> HttpResponse:
    """A new way to pack, with what it takes from today on."""
    data = request.POST or None
    form, edition, pieces = NewSetForm(data), EditionForm(data), _pieces(data, [])
    if request.method == "POST" and form.is_valid() and edition.is_valid() and pieces.is_valid():
        try:
            made = open_set(
                SetDescription(**form.cleaned_data),
                _described(edition.cleaned_data, pieces),
                today=timezone.localdate(),
                by=who(request),
            )
        except Refusal as refusal:
            _place(refusal, edition, pieces, also=form)
        else:
            messages.success(request, f"{made.name} is there. Products can be packed with it.")
            return see_other(request, "packings-page")
    context = {"form": form, "edition": edition, "pieces": pieces}
    return form_page(request, "costing/bar_cost/packing_edit.html", context)


@page(SET)
def packing_edit(request: HttpRequest, code: str) -> HttpResponse:
    """What a set takes from a day on, whole; what was in force before stays."""
    kept = packaging_set_at(code)
    newest = max(kept.editions.all(), key=lambda each: each.effective_from, default=None)
    data = request.POST or None
    carton = {} if newest is None else {"bars_per_carton": newest.bars_per_carton}
    edition, pieces = EditionForm(data, initial=carton), _pieces(data, _taken(newest))
    if request.method == "POST" and edition.is_valid() and pieces.is_valid():
        try:
            described = _described(edition.cleaned_data, pieces)
            put_edition(code, described, today=timezone.localdate())
        except Refusal as refusal:
            _place(refusal, edition, pieces)
        else:
            day = edition.cleaned_data["effective_from"]
            messages.success(request, f"{kept.name} takes this from {day} on.")
            return see_other(request, "packings-page")
    context = {"packing": kept, "edition": edition, "pieces": pieces}
    return form_page(request, "costing/bar_cost/packing_edit.html", context)


@page(SET)
def packing_name(request: HttpRequest, code: str) -> HttpResponse:
    """Its name and code, and whether it is used on; what it takes stays."""
    kept = packaging_set_at(code)
    initial = {name: getattr(kept, name) for name in SetForm.base_fields}
    form = SetForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            saved = save_set(
                SetDescription(**form.cleaned_data),
                row_id=kept.pk,
                unchanged=unchanged_since(request),
                by=who(request),
            )
            messages.success(request, f"{saved.name} is saved.")
            return see_other(request, "packings-page")
    return form_page(request, "costing/bar_cost/packing_name.html", {"form": form, "packing": kept})


def _taken(edition: PackagingEdition | None) -> list[dict[str, Any]]:
    rows = [] if edition is None else edition.pieces.all()
    return [{"material": row.material.code, "per": row.per, "pieces": row.pieces} for row in rows]


def _pieces(data: Any, initial: list[dict[str, Any]]) -> Any:
    named = [(one.code, one.name) for one in counted_materials()]
    return Pieces(data, initial=initial, prefix="pieces", form_kwargs={"materials": named})


def _described(given: dict[str, Any], pieces: Any) -> EditionDescription:
    return EditionDescription(pieces=[PieceDescription(**row) for row in filled(pieces)], **given)


def _place(refusal: Refusal, edition: Any, pieces: Any, *, also: Any = None) -> None:
    """Faults of the set stand in its form, all others where they belong."""
    if also is not None and all(fault.field in also.fields for fault in refusal.faults):
        place_faults(refusal, also)
    else:
        place_faults(refusal, edition, rows={"pieces": pieces})
