"""Offers: a supplier's pack with its price, as the price list writes it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.domain.catalog.materials import MADE_HERE
from inventory.domain.catalog.packs import MOST_BREAKS, PriceBreak
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import LONGEST_LEAD_TIME_DAYS, Offer, Supplier
from inventory.pages.stock.lot_certificate import number
from inventory.queries.catalog.offers import offer_at
from inventory.services.catalog.suppliers import OfferDescription, save_offer
from studio.foundation.model_fields import CodeField
from studio.foundation.roles import Capability
from studio.foundation.units.grammar import MAX_TEXT
from studio.web.form_fields import DayFormField, MoneyFormField
from studio.web.pages.forms import (
    OptionalRows,
    faults_on,
    form_page,
    see_other,
    unchanged_since,
)
from studio.web.pages.ruled import GET, page, who

#: An offer is nothing without its price.
OFFER = (Capability.KEEP_STOCK, Capability.SEE_COSTS)


class OfferForm(forms.Form):
    """One pack of a material at a price."""

    supplier = forms.ChoiceField(label="Supplier")
    material = forms.ChoiceField(label="Material")
    pack_written = forms.CharField(
        max_length=MAX_TEXT,
        label="Pack",
        help_text="As the supplier writes it: 1 gal, 35 lb, 12 each.",
    )
    price = MoneyFormField(label="Price of a pack")
    code = forms.SlugField(
        required=False,
        max_length=40,
        label="Code",
        help_text="Left empty, it is made of supplier, material and pack.",
    )
    supplier_item = forms.CharField(required=False, max_length=60, label="Supplier's item number")
    density_g_ml = number(
        "Supplier's density, g/mL",
        places=6,
        help_text="For a pack by volume; empty: the material's own.",
    )
    density_temperature_c = number("at °C", places=3)
    minimum_packs = forms.IntegerField(min_value=1, initial=1, label="Fewest packs sold")
    lead_time_days = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=LONGEST_LEAD_TIME_DAYS,
        label="Days to delivery",
        help_text="Empty: as the supplier.",
    )
    valid_from = DayFormField(required=False, label="Holds from")
    valid_until = DayFormField(required=False, label="Holds until")
    active = forms.BooleanField(required=False, initial=True, label="Is offered")

    def __init__(self, *args: Any, kept: Offer | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        suppliers = Supplier.objects.order_by("name").values_list("code", "name")
        materials = Material.objects.exclude(kind__in=[kind.value for kind in MADE_HERE])
        named = materials.order_by("name").values_list("code", "name")
        for name, rows in (("supplier", suppliers), ("material", named)):
            self.fields[name].choices = [("", f"Choose a {name}"), *rows]  # type: ignore[attr-defined]
        if kept is not None:
            del self.fields["code"]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if "code" in self.fields and not given.get("code") and "code" not in self.errors:
            parts = (given.get(name, "") for name in ("supplier", "material", "pack_written"))
            given["code"] = CodeField.made_from("-".join(parts))
        return given


class BreakForm(forms.Form):
    """A lower price of a larger purchase."""

    from_packs = forms.IntegerField(min_value=2, label="From packs")
    price = MoneyFormField(label="Each costs")

    def has_changed(self) -> bool:
        """Whether anything is written; a row that was emptied is taken out."""
        return any(self[name].data for name in self.fields)


Breaks = formset_factory(
    BreakForm,
    formset=OptionalRows,
    extra=2,
    max_num=MOST_BREAKS,
    validate_max=True,
    absolute_max=MOST_BREAKS + 2,
)


@page((Capability.READ, Capability.SEE_COSTS), methods=GET)
def offer_page(request: HttpRequest, code: str) -> HttpResponse:
    """An offer, what a pack of it holds, and its prices."""
    return render(request, "inventory/catalog/offer.html", {"offer": offer_at(code)})


@page(OFFER)
def offer_new(request: HttpRequest) -> HttpResponse:
    """Write down an offer."""
    return _edit(request, None)


@page(OFFER)
def offer_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change an offer; what was ordered at the old price stays so."""
    return _edit(request, offer_at(code))


def _edit(request: HttpRequest, kept: Offer | None) -> HttpResponse:
    data = request.POST or None
    form = OfferForm(data, kept=kept, initial=_initial(request, kept))
    steps = [] if kept is None else [vars_of(each) for each in kept.breaks]
    breaks = Breaks(data, prefix="breaks", initial=steps)
    if request.method == "POST" and form.is_valid() and breaks.is_valid():
        with faults_on(form, rows={"price_breaks": breaks}):
            saved = _save(request, form.cleaned_data, filled_breaks(breaks), kept)
            messages.success(request, f"The offer {saved.code} is saved.")
            return see_other(request, "offer-page", saved.code)
    context = {"form": form, "breaks": breaks, "offer": kept}
    return form_page(request, "inventory/catalog/offer_edit.html", context)


def vars_of(step: PriceBreak) -> dict[str, int]:
    """A break as its row in the form."""
    return {"from_packs": step.from_packs, "price": step.price}


def filled_breaks(breaks: Any) -> list[PriceBreak]:
    """The breaks that are written; a row that was emptied is taken out."""
    rows = [form.cleaned_data for form in breaks.forms if form.cleaned_data.get("from_packs")]
    return [PriceBreak(row["from_packs"], row["price"]) for row in rows]


def _initial(request: HttpRequest, kept: Offer | None) -> dict[str, Any]:
    if kept is None:
        asked = request.GET
        return {"material": asked.get("material", ""), "supplier": asked.get("supplier", "")}
    known = {name: getattr(kept, name) for name in OfferForm.base_fields}
    for name in ("density_g_ml", "density_temperature_c"):
        known[name] = None if known[name] is None else f"{known[name].normalize():f}"
    return {**known, "supplier": kept.supplier.code, "material": kept.material.code}


def _save(
    request: HttpRequest, given: dict[str, Any], breaks: list[PriceBreak], kept: Offer | None
) -> Offer:
    values = dict(given)
    if kept is not None:
        values["code"] = kept.code
    return save_offer(
        OfferDescription(**values, breaks=breaks),
        offer_id=None if kept is None else kept.pk,
        unchanged=unchanged_since(request),
        by=who(request),
    )
