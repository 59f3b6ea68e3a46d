"""Writing down a material, and changing what is known of it."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse

from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.stock.holds import LONGEST_SAID
from inventory.models.catalog.materials import Material
from inventory.queries.stock.lot_history import material_at
from inventory.services.catalog.materials import save_material
from studio.foundation.errors import InvalidInput, Refusal
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.writing import format_amount
from studio.web.form_fields import as_form_error, parse_share
from studio.web.pages.forms import form_page, saved_by, see_other
from studio.web.pages.row_forms import NamedRowForm, expected_of
from studio.web.pages.ruled import page, who

KINDS = {
    MaterialKind.FAT: "Fat: oil, butter, tallow, wax",
    MaterialKind.ALKALI: "Alkali",
    MaterialKind.LIQUID: "Liquid: water, milk, tea",
    MaterialKind.ACID: "Acid, which uses up alkali",
    MaterialKind.FRAGRANCE: "Fragrance or essential oil",
    MaterialKind.COLORANT: "Colorant",
    MaterialKind.ADDITIVE: "Any other ingredient",
    MaterialKind.PACKAGING: "Packaging",
}
_ALKALIES = [("", "none"), ("NaOH", "NaOH"), ("KOH", "KOH")]
_AMOUNTS = ("reorder_point", "reorder_to", "shelf_space")


class MaterialForm(NamedRowForm):
    """One material. Values that are not known stay empty; a lot's certificate goes before them."""

    kind = forms.ChoiceField(
        label="What it is", choices=[(kind.value, words) for kind, words in KINDS.items()]
    )
    fatty_acids = forms.CharField(
        required=False,
        max_length=2000,
        label="Fatty acids",
        help_text="One a line with its share: C18:1 71 %, or oleic 71 %.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    reason = forms.CharField(
        required=False,
        max_length=LONGEST_SAID,
        label="Why the alkali is corrected",
        help_text="An owner corrects which alkali it is; the reason stays in its history.",
    )

    class Meta(NamedRowForm.Meta):
        model = Material
        fields = described(Material)

    def __init__(self, *args: Any, instance: Material | None = None, **kwargs: Any) -> None:
        if instance is not None:
            kwargs["initial"] = _initial(instance)
        super().__init__(*args, instance=instance, **kwargs)
        if instance is None:
            del self.fields["reason"]
        self.fields["alkali"].choices = _ALKALIES  # type: ignore[attr-defined]
        if instance is not None and MaterialKind(instance.kind) in MADE_HERE:
            self.fields["kind"].choices = [  # type: ignore[attr-defined]
                (instance.kind, f"{instance.get_kind_display()}, made here")
            ]

    def clean_fatty_acids(self) -> Mapping[str, Decimal]:
        """Shares by acid as written; whether there is such an acid, the service says."""
        found: dict[str, Decimal] = {}
        for line in self.cleaned_data["fatty_acids"].splitlines():
            if not line.strip():
                continue
            acid, _, share = line.strip().removesuffix("%").strip().rpartition(" ")
            try:
                if not acid:
                    raise InvalidInput(f'Write an acid and its share: "C18:1 71 %", not "{line}".')
                if acid in found:
                    raise InvalidInput(f"{acid} is written twice.")
                found[acid] = parse_share(share)
            except Refusal as refusal:
                raise as_form_error(refusal) from refusal
        return found

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        for name in _AMOUNTS:
            if isinstance(given.get(name), Quantity):
                given[name] = self._stock(name, given)
        return given

    def _stock(self, name: str, given: Mapping[str, Any]) -> int | None:
        try:
            return stock_amount(
                given[name], counted=given["counted"], density_g_ml=given.get("density_g_ml")
            )
        except Refusal as refusal:
            self.add_error(name, as_form_error(refusal))
            return None


def _initial(kept: Material) -> dict[str, Any]:
    """What a row does not show by itself: amounts in its stock unit, and its fatty acids."""
    unit = kept.stock_unit
    amounts = {n: getattr(kept, n) for n in _AMOUNTS if getattr(kept, n) is not None}
    acids = [f"{acid} {(share * 100).normalize():f} %" for acid, share in kept.acids.items()]
    return {
        **{name: f"{format_amount(amount, unit)} {unit}" for name, amount in amounts.items()},
        "fatty_acids": "\n".join(acids),
    }


@page(Capability.KEEP_STOCK)
def material_new(request: HttpRequest) -> HttpResponse:
    """Write down a material that the shipped list does not have."""
    return _edit(request, None)


@page(Capability.KEEP_STOCK)
def material_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is known of a material; what was made of it stays as it was."""
    return _edit(request, material_at(code))


def _edit(request: HttpRequest, kept: Material | None) -> HttpResponse:
    form = MaterialForm(request.POST or None, instance=kept)
    saved = saved_by(
        request,
        form,
        lambda: save_material(
            *form.given_row(),
            fatty_acids=form.cleaned_data["fatty_acids"],
            reason=form.cleaned_data.get("reason", ""),
            by=who(request),
            expected=expected_of(request),
        ),
    )
    if saved is not None:
        return see_other(request, "material-page", saved.code)
    return form_page(
        request, "inventory/catalog/material_edit.html", {"form": form, "material": kept}
    )
