"""Where lots stand: the places, what is in them, adding one and closing one."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.domain.stock.lots import LocationKind
from inventory.models.stock.lots import Location
from inventory.queries.stock.shelf import location_at, locations_found
from inventory.services.stock.locations import LocationDescription, save_location
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

WORDS = {
    LocationKind.SHELF.value: "Shelf",
    LocationKind.CURING_RACK.value: "Curing rack",
    LocationKind.COLD.value: "Cold place",
}


class LocationFilter(forms.Form):
    """Which place is looked for."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those closed")


class LocationForm(forms.Form):
    """All that is kept of a place."""

    name = forms.CharField(max_length=120, label="Name")
    code = forms.SlugField(
        max_length=40, label="Short code", help_text="Letters, digits and dashes: rack-2."
    )
    kind = forms.ChoiceField(label="What it is", choices=list(WORDS.items()))
    active = forms.BooleanField(
        required=False,
        initial=True,
        label="Is used",
        help_text="A closed place takes no more lots; what stands there stays until it is moved.",
    )
    note = forms.CharField(
        required=False, max_length=2000, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )


@page(Capability.READ, methods=GET)
def location_list(request: HttpRequest) -> HttpResponse:
    """Places by name, with how many lots stand there."""
    form = LocationFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = locations_found(text=given.get("q", ""), with_old=given.get("old", False))
    rows = list_page(request, found, order=("name", "id"), filters=form)
    shown = [(place, WORDS.get(place.kind, place.kind)) for place in rows.rows]
    return render(request, "inventory/stock/locations.html", {"rows": rows, "shown": shown})


@page(Capability.KEEP_STOCK)
def location_new(request: HttpRequest) -> HttpResponse:
    """Add a place."""
    return _edit(request, None)


@page(Capability.KEEP_STOCK)
def location_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Rename a place, or close it."""
    return _edit(request, location_at(code))


def _edit(request: HttpRequest, kept: Location | None) -> HttpResponse:
    initial = {} if kept is None else {n: getattr(kept, n) for n in LocationForm.base_fields}
    form = LocationForm(request.POST or None, initial=initial)
    saved = saved_by(
        request,
        form,
        lambda: save_location(
            LocationDescription(**form.cleaned_data),
            location_id=None if kept is None else kept.pk,
            unchanged=unchanged_since(request),
            by=who(request),
        ),
    )
    if saved is not None:
        return see_other(request, "locations-page")
    return form_page(
        request, "inventory/stock/location_edit.html", {"form": form, "location": kept}
    )
