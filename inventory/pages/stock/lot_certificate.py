"""The form of a lot's certificate and label."""

from collections.abc import Mapping
from typing import Any, Self

from django import forms

from inventory.domain.stock.allergens import SHARE_PLACES, Allergen, read_allergens
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import Stated
from studio.foundation.errors import InvalidInput
from studio.foundation.units.writing import percent
from studio.web.form_fields import ShareFormField, as_form_error, parse_share

_PLAIN = (
    "density_g_ml",
    "density_temperature_c",
    "sv_mg_koh_g",
    "iodine_value",
    "purity",
    "water_share",
    "ifra_category9_max",
    "supplier_lot",
    "best_before",
    "note",
)


def number(label: str, *, places: int, help_text: str = "") -> forms.DecimalField:
    """A field of a plain number that may stay empty."""
    return forms.DecimalField(
        required=False,
        label=label,
        help_text=help_text,
        max_digits=12,
        decimal_places=places,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "maxlength": "16"}),
    )


class CertificateForm(forms.Form):
    """What a certificate of analysis and the label on the container state."""

    sv_mg_koh_g = number("Saponification value, mg KOH/g", places=3)
    iodine_value = number("Iodine value, g/100 g", places=3)
    purity = ShareFormField(required=False, label="Purity", help_text="98.5 %")
    water_share = ShareFormField(required=False, label="Water")
    density_g_ml = number("Density, g/mL", places=6)
    density_temperature_c = number("at °C", places=3)
    ifra_category9_max = ShareFormField(
        required=False, label="Most in a rinse-off product (IFRA category 9)"
    )
    allergens = forms.CharField(
        required=False,
        max_length=8000,
        label="Allergens",
        help_text="One a line with its share: Linalool 32 %. Write none when the certificate "
        "states that there are none.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    supplier_lot = forms.CharField(required=False, max_length=60, label="Supplier's lot")
    best_before = forms.DateField(
        required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    note = forms.CharField(required=False, max_length=2000, widget=forms.Textarea)

    @classmethod
    def of(cls: type[Self], lot: Lot) -> dict[str, Any]:
        """What is known of a lot by now."""
        known = {name: getattr(lot, name) for name in _PLAIN}
        for name in ("sv_mg_koh_g", "iodine_value", "density_g_ml", "density_temperature_c"):
            known[name] = None if known[name] is None else f"{known[name].normalize():f}"
        allergens = read_allergens(lot.allergens)
        if allergens is not None:
            lines = [f"{one.name} {percent(one.share, 4)}" for one in allergens]
            known["allergens"] = "\n".join(lines) or "none"
        return known

    def clean_allergens(self) -> list[Allergen] | None:
        """The allergens; None where nothing is stated, an empty list where it says none."""
        text = self.cleaned_data["allergens"].strip()
        if not text:
            return None
        if text.casefold() == "none":
            return []
        return [_allergen(line) for line in text.splitlines() if line.strip()]

    def stated(self) -> Mapping[str, Stated]:
        """What the form states, as the service takes it."""
        given = dict(self.cleaned_data)
        return {name: given[name] for name in (*_PLAIN, "allergens")}


def _allergen(line: str) -> Allergen:
    name, _, share = line.strip().removesuffix("%").strip().rpartition(" ")
    try:
        return Allergen(name.strip(" ,:"), round(parse_share(share), SHARE_PLACES))
    except InvalidInput as refusal:
        raise as_form_error(
            InvalidInput(f'"{line.strip()[:60]}" has no share: write Linalool 32 %.')
        ) from refusal
