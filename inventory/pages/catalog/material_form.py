"""What a material is written with: its kind, its measures, its published values, its keeping."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms

from inventory.domain.catalog.descriptions import ALKALIES, MaterialDescription
from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.stock.freshness import LONGEST_SHELF_LIFE_DAYS
from inventory.models.catalog.materials import Material
from inventory.pages.stock.lot_certificate import number
from inventory.services.catalog.materials import describe
from studio.foundation.errors import InvalidInput, Refusal
from studio.foundation.model_fields import CodeField
from studio.foundation.units.conversion import mass_ng, stock_amount
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount
from studio.web.form_fields import QuantityFormField, ShareFormField, as_form_error, parse_share

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
_STOCKED = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
_AMOUNTS = ("reorder_point", "reorder_to", "shelf_space")
_NUMBERS = (
    *("density_g_ml", "density_temperature_c", "sv_mg_koh_g", "sv_low_mg_koh_g"),
    *("sv_high_mg_koh_g", "iodine_value", "acid_naoh_g_per_g"),
)


def _amount(label: str, help_text: str = "") -> QuantityFormField:
    return QuantityFormField(dimensions=_STOCKED, required=False, label=label, help_text=help_text)


class MaterialForm(forms.Form):
    """One material. Values that are not known stay empty; a lot's certificate goes before them."""

    name = forms.CharField(max_length=120, label="Name")
    code = forms.SlugField(
        required=False, max_length=40, label="Code", help_text="Left empty, it is made of the name."
    )
    kind = forms.ChoiceField(
        label="What it is", choices=[(kind.value, words) for kind, words in KINDS.items()]
    )
    counted = forms.BooleanField(
        required=False,
        label="It is counted in pieces",
        help_text="Boxes, eggs; else it is weighed.",
    )
    piece_mass = QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        unit="g",
        required=False,
        label="Usable weight of a piece",
        help_text="An egg without its shell: 50 g.",
    )
    inci_name = forms.CharField(required=False, max_length=200, label="INCI name")
    density_g_ml = number("Density, g/mL", places=6)
    density_temperature_c = number("at °C", places=3)
    sv_mg_koh_g = number("Saponification value, mg KOH/g", places=3)
    sv_low_mg_koh_g = number("from", places=3)
    sv_high_mg_koh_g = number("to", places=3)
    iodine_value = number("Iodine value, g/100 g", places=3)
    fatty_acids = forms.CharField(
        required=False,
        max_length=2000,
        label="Fatty acids",
        help_text="One a line with its share: C18:1 71 %, or oleic 71 %.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    water_share = ShareFormField(required=False, label="Water in it")
    fat_share = ShareFormField(required=False, label="Fat in it")
    alkali = forms.ChoiceField(
        required=False,
        label="Alkali in it",
        choices=[("", "none"), *((name, name) for name in ALKALIES)],
    )
    purity = ShareFormField(required=False, label="Purity, or strength of a lye")
    acid_naoh_g_per_g = number(
        "NaOH that it uses up, g per g", places=6, help_text="Citric acid, anhydrous: 0.6246."
    )
    ifra_category9_max = ShareFormField(
        required=False, label="Most in a rinse-off product (IFRA category 9)"
    )
    tempering = forms.BooleanField(
        required=False,
        label="It brings protein that lye would cook",
        help_text="Egg, milk: blended, strained and tempered first.",
    )
    shelf_life_days = forms.IntegerField(
        required=False, min_value=1, max_value=LONGEST_SHELF_LIFE_DAYS, label="Keeps, days"
    )
    reorder_point = _amount("Reorder below", "2 kg, 5 lb, 40 each")
    reorder_to = _amount("Reorder up to")
    shelf_space = _amount("Room for")
    low_stock_alerts = forms.BooleanField(
        required=False, initial=True, label="Tell when it runs low"
    )
    active = forms.BooleanField(required=False, initial=True, label="In use")
    note = forms.CharField(
        required=False, max_length=2000, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, kept: Material | None = None, **kwargs: Any) -> None:
        self.kept = kept
        if kept is not None:
            kwargs["initial"] = _initial(kept)
        super().__init__(*args, **kwargs)
        if kept is not None:
            del self.fields["code"]
            if MaterialKind(kept.kind) in MADE_HERE:
                self.fields["kind"].choices = [  # type: ignore[attr-defined]
                    (kept.kind, f"{kept.get_kind_display()}, made here")
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
        given = super().clean() or self.cleaned_data
        for name in _AMOUNTS:
            if isinstance(given.get(name), Quantity):
                given[name] = self._stock(name, given)
        if self.kept is None and given.get("name") and "code" not in self.errors:
            given["code"] = given.get("code") or CodeField.made_from(given["name"])
            if not given["code"]:
                self.add_error("code", "Write a code of letters, digits and hyphens.")
        return given

    def _stock(self, name: str, given: Mapping[str, Any]) -> int | None:
        try:
            return stock_amount(
                given[name], counted=given["counted"], density_g_ml=given.get("density_g_ml")
            )
        except Refusal as refusal:
            self.add_error(name, as_form_error(refusal))
            return None

    def described(self) -> MaterialDescription:
        """What is written, as the service takes it."""
        given = dict(self.cleaned_data)
        code = self.kept.code if self.kept is not None else given.pop("code")
        return MaterialDescription(code=code, kind=MaterialKind(given.pop("kind")), **given)


def _initial(kept: Material) -> dict[str, Any]:
    known = describe(kept)
    given = {name: getattr(known, name) for name in MaterialForm.base_fields}
    for name in _NUMBERS:
        given[name] = None if given[name] is None else f"{given[name].normalize():f}"
    for name in _AMOUNTS:
        if given[name] is not None:
            given[name] = f"{format_amount(given[name], kept.stock_unit)} {kept.stock_unit}"
    given["fatty_acids"] = "\n".join(
        f"{acid} {(share * 100).normalize():f} %" for acid, share in known.fatty_acids.items()
    )
    return {**given, "kind": kept.kind}
