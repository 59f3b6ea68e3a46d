"""The form of a lot's certificate and label."""

from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any, Self

from django import forms

from inventory.domain.catalog.allergens import SHARE_PLACES, Allergen
from inventory.domain.catalog.certificate import VALUES
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import LABELED, Stated
from studio.foundation.errors import InvalidInput
from studio.foundation.units.writing import percent
from studio.web.form_fields import DayFormField, ShareFormField, as_form_error, parse_share


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


def measured_field(name: str, *, label: str = "") -> forms.Field:
    """The field of a measured value, which may stay empty; a share is written in percent."""
    value = VALUES[name]
    label = label or value.label
    if value.is_share:
        example = percent(Decimal(value.example)) if value.example else ""
        return ShareFormField(required=False, label=label, help_text=example)
    return number(label if value.qualifies else f"{label}, {value.unit}", places=value.places)


def confirming_field() -> forms.BooleanField:
    """The box that says of unusual values that the certificate was read again."""
    return forms.BooleanField(
        required=False, label="I have read the certificate again: it states just this"
    )


def allergens_field() -> forms.CharField:
    """The field of the allergens that a certificate states, for `read_allergens`."""
    return forms.CharField(
        required=False,
        max_length=8000,
        label="Allergens",
        help_text="One a line with its share: Linalool 32 %. Write none when the certificate "
        "states that there are none.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )


def read_allergens(text: str) -> tuple[Allergen, ...] | None:
    """What is written of allergens; None where nothing is stated, an empty tuple where it says
    none. Raises ValidationError for a line that has no share."""
    text = text.strip()
    if not text:
        return None
    if text.casefold() == "none":
        return ()
    return tuple(_allergen(line) for line in text.splitlines() if line.strip())


#: The values that are asked about.
ASKED = frozenset(UNUSUAL.values())


class CertificateForm(forms.Form):
    """What a certificate of analysis and the label on the container state."""

    allergens = allergens_field()
    supplier_lot = forms.CharField(required=False, max_length=60, label="Supplier's lot")
    best_before = DayFormField(required=False)
    note = forms.CharField(required=False, max_length=2000, widget=forms.Textarea)
    as_stated = confirming_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {**{name: measured_field(name) for name in VALUES}, **self.fields}

    @classmethod
    def of(cls: type[Self], lot: Lot) -> dict[str, Any]:
        """What is known of a lot by now."""
        known = {name: getattr(lot, name) for name in (*VALUES, *LABELED)}
        for name, value in VALUES.items():
            if known[name] is not None and not value.is_share:
                known[name] = f"{known[name].normalize():f}"
        allergens = lot.certificate.allergens
        if allergens is not None:
            lines = [f"{one.name} {percent(one.share, SHARE_PLACES - 2)}" for one in allergens]
            known["allergens"] = "\n".join(lines) or "none"
        return known

    def clean_allergens(self) -> tuple[Allergen, ...] | None:
        """The allergens; None where nothing is stated, an empty tuple where it says none."""
        return read_allergens(self.cleaned_data["allergens"])

    def stated(self) -> Mapping[str, Stated]:
        """What the form states, as the service takes it."""
        return {name: value for name, value in self.cleaned_data.items() if name != "as_stated"}

    @property
    def confirmed(self) -> Collection[str]:
        """The codes of unusual values that are confirmed with the box."""
        return UNUSUAL if self.cleaned_data["as_stated"] else ()

    @property
    def unasked(self) -> Collection[str]:
        """The box is only shown where it is asked for, or was ticked."""
        is_asked = self["as_stated"].value() or any(name in self.errors for name in ASKED)
        return () if self.is_bound and is_asked else ("as_stated",)


def _allergen(line: str) -> Allergen:
    name, _, share = line.strip().removesuffix("%").strip().rpartition(" ")
    try:
        return Allergen(name.strip(" ,:"), round(parse_share(share), SHARE_PLACES))
    except InvalidInput as refusal:
        raise as_form_error(
            InvalidInput(f'"{line.strip()[:60]}" has no share: write Linalool 32 %.')
        ) from refusal
