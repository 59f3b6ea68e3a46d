"""What a recipe is written with: its name, materials, lines, portions and settings."""

import re
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django import forms
from django.forms import formset_factory

from inventory.domain.catalog.materials import MaterialKind
from inventory.queries.catalog.materials import MaterialChoice
from recipes.domain.bench.pours import MOST_LAYERS, Place
from recipes.domain.cure.drying import LONGEST_DAYS
from recipes.domain.formulas.amount_words import BASES, PIECES, SHARES, STAGES
from recipes.domain.formulas.formula import LONGEST_NAME, MOST_PORTIONS, Basis, Stage
from recipes.models.formulas.formulas import Formula
from recipes.services.formulas.formulas import LONGEST_CODE
from recipes.services.formulas.formulas import LONGEST_NAME as LONGEST_RECIPE
from recipes.services.formulas.version_check import MOST_LINES, MOST_MINUTES
from studio.foundation.errors import InvalidInput, Refusal
from studio.foundation.model_fields import CodeField
from studio.foundation.units.conversion import mass_ng, temperature_c
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import UnitRefusal
from studio.foundation.units.registry import NG_PER_G, UNITS, Dimension
from studio.web.form_fields import QuantityFormField, ShareFormField, as_form_error, parse_share
from studio.web.pages.forms import NewRows

PLACES = 6
_BARE = re.compile(r"[0-9 ./]*[0-9]")


def read_amount(text: str, basis: Basis, *, counted: bool) -> Decimal:
    """The amount a line keeps: a share of 1, grams, pieces or US teaspoons.

    Raises InvalidInput and UnitRefusal, in words that say what would be right.
    """
    if basis in SHARES:
        amount = parse_share(text)
        if int(amount.normalize().as_tuple().exponent) < -PLACES:
            raise InvalidInput("Write at most 4 decimals of a percent.")
        return amount
    is_bare = _BARE.fullmatch(text.strip()) is not None
    if basis is Basis.TSP_PER_LB_FATS:
        volume = parse_quantity(f"{text} tsp" if is_bare else text, Dimension.VOLUME)
        return _rounded(volume.base / UNITS["tsp"].factor)
    if counted and basis in PIECES:
        return _rounded(parse_quantity(text, Dimension.COUNT).base)
    mass = parse_quantity(f"{text} g" if is_bare else text, Dimension.MASS)
    return _rounded(Fraction(mass_ng(mass), NG_PER_G))


def _rounded(amount: Fraction) -> Decimal:
    scaled = amount * 10**PLACES
    if abs(scaled) > 10**14:
        raise UnitRefusal("That is more than a line can hold.")
    return Decimal(round(scaled)).scaleb(-PLACES)


KINDS = [("soap", "Soap: saponified and poured"), ("blend", "A blend: only mixed, without lye")]


class Catalog:
    """The materials that can be chosen, found by name or code."""

    def __init__(self, choices: Iterable[MaterialChoice]) -> None:
        self.choices = list(choices)
        self.by_code = {choice.code: choice for choice in self.choices}
        self._by_name: dict[str, list[MaterialChoice]] = {}
        for choice in self.choices:
            self._by_name.setdefault(choice.name.casefold(), []).append(choice)

    @property
    def to_weigh(self) -> list[MaterialChoice]:
        """What can be a line: everything but alkali, poured soap and bars."""
        apart = {MaterialKind.ALKALI.value, MaterialKind.BATTER.value, MaterialKind.BAR.value}
        return [choice for choice in self.choices if choice.kind not in apart]

    def find(self, text: str) -> MaterialChoice:
        """The material of a name or code. Raises ValidationError saying what to write."""
        named = self._by_name.get(text.casefold(), [])
        if len(named) == 1:
            return named[0]
        if text in self.by_code:
            return self.by_code[text]
        if named:
            codes = ", ".join(choice.code for choice in named)
            raise forms.ValidationError(f"Several have this name; write the code: {codes}.")
        raise forms.ValidationError(
            "No material has this name or code. Choose one of the list, or add it on the shelf."
        )


class RecipeForm(forms.Form):
    """A new recipe by name."""

    name = forms.CharField(max_length=LONGEST_RECIPE, label="Name")
    code = forms.SlugField(
        required=False,
        max_length=LONGEST_CODE,
        label="Code",
        help_text="Short, for labels and lots. Left empty, it is made from the name.",
    )
    kind = forms.ChoiceField(
        choices=KINDS, initial="soap", label="What it makes", widget=forms.RadioSelect
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        code = given.get("code") or CodeField.made_from(given.get("name", ""), most=LONGEST_CODE)
        if "code" in self.errors or not given.get("name"):
            return given
        if not code:
            self.add_error("code", "Write a code of letters, digits and hyphens.")
        elif Formula.objects.filter(code=code).exists():
            self.add_error("code", f"There is a recipe {code} already: write another code.")
        given["code"] = code
        return given


_ALKALI = MaterialKind.ALKALI.value


#: What each setting of the lye can be chosen from.
_CHOSEN: Mapping[str, Callable[[MaterialChoice], bool]] = {
    "naoh": lambda one: one.alkali == "NaOH" and one.kind == _ALKALI,
    "koh": lambda one: one.alkali == "KOH",
    "masterbatch": lambda one: one.alkali == "NaOH" and one.kind != _ALKALI,
    "water": lambda one: one.kind == MaterialKind.LIQUID.value,
}


class VersionForm(forms.Form):
    """The settings of a version: its lye, its losses, its times."""

    naoh = forms.ChoiceField(required=False, label="NaOH")
    koh = forms.ChoiceField(required=False, label="KOH")
    masterbatch = forms.ChoiceField(
        required=False, label="Masterbatch lye", help_text="Stored NaOH lye, in place of dry NaOH."
    )
    water = forms.ChoiceField(required=False, label="Water")
    superfat = ShareFormField(required=False, label="Superfat")
    lye_concentration = ShareFormField(
        required=False, label="Lye concentration", help_text="Alkali in the whole lye, by mass."
    )
    koh_share = ShareFormField(
        required=False, label="KOH share", help_text="Of the alkali, by moles; empty: all NaOH."
    )
    pour_temperature_c = QuantityFormField(
        dimensions=[Dimension.TEMPERATURE],
        stored=temperature_c,  # type: ignore[arg-type]
        required=False,
        label="Poured at",
        help_text="40 degC, 104 degF",
    )
    pot_loss_share = ShareFormField(required=False, label="Stays in the pot")
    cure_loss_share = ShareFormField(required=False, label="Dries off in the cure")
    rinse_share = ShareFormField(
        required=False,
        label="Water kept to rinse",
        help_text="Of the extra water; empty for the usual.",
    )
    weekly_loss_limit = ShareFormField(
        required=False, label="Cured at a weekly loss below", help_text="Empty: 1 %."
    )
    cure_days = forms.IntegerField(
        required=False, min_value=0, max_value=LONGEST_DAYS, label="Cure, days"
    )
    ready_days = forms.IntegerField(
        required=False, min_value=0, max_value=LONGEST_DAYS, label="Steeps, days"
    )
    resolution = QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        required=False,
        label="Step of the scale",
        help_text="Only where no scale is kept: the smallest step it shows. Empty: 1 g.",
    )
    minutes = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=MOST_MINUTES,
        label="Work a batch, minutes",
        help_text="Empty: not stated, so labor is not known; 0 if it takes none.",
    )
    note = forms.CharField(
        required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 2}), label="Note"
    )

    def __init__(self, *args: Any, catalog: Catalog, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, chosen in _CHOSEN.items():
            kept = {self.initial.get(name), self.data.get(name)}
            rows = [one for one in catalog.choices if chosen(one) or one.code in kept]
            self.fields[name].choices = [  # type: ignore[attr-defined]
                ("", "none"),
                *((one.code, one.name) for one in rows),
            ]


class Row(forms.Form):
    """A row counts as written when one of `told` is; else it is left out."""

    told: tuple[str, ...] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.told:
            # Asked for in `clean`: a browser would ask for it in rows that stay empty, too.
            self.fields[name].required = False

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for name in self.told:
            if given.get(name) in (None, "") and name not in self.errors and self.has_changed():
                self.add_error(name, forms.ValidationError("Write this too.", code="required"))
        return given

    def has_changed(self) -> bool:
        return any(str(self[name].data or "").strip() for name in self.told)


class LineForm(Row):
    """One line of a recipe."""

    told = ("material", "amount")
    material = forms.CharField(
        max_length=120,
        label="Material",
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    amount = forms.CharField(max_length=64, label="Amount")
    basis = forms.ChoiceField(
        choices=[(basis.value, words) for basis, words in BASES.items()],
        initial=Basis.SHARE_OF_FATS.value,
        label="By",
    )
    stage = forms.ChoiceField(
        choices=[(stage.value, words) for stage, words in STAGES.items()],
        initial=Stage.FATS.value,
        label="Goes in",
    )
    portion = forms.CharField(required=False, max_length=LONGEST_NAME, label="Portion")
    counts_as_water = forms.BooleanField(required=False, label="Its water is part of the lye's")
    strained = forms.BooleanField(required=False, label="Strained out again")

    def __init__(self, *args: Any, catalog: Catalog, blend: bool = False, **kwargs: Any) -> None:
        self.catalog = catalog
        self.blend = blend
        super().__init__(*args, **kwargs)

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        counted = False
        if self.blend:
            # All that a blend knows is a share of the whole, and its page asks for no basis.
            given["basis"] = Basis.OF_BATTER.value
        if given.get("material"):
            try:
                chosen = self.catalog.find(given["material"])
                given["code"], counted = chosen.code, chosen.counted
            except forms.ValidationError as error:
                self.add_error("material", error)
        if given.get("amount") and given.get("basis"):
            try:
                given["read"] = read_amount(given["amount"], Basis(given["basis"]), counted=counted)
            except Refusal as refusal:
                self.add_error("amount", as_form_error(refusal))
        return given


class PortionForm(Row):
    """A named part of the batter."""

    told = ("name", "share")
    name = forms.CharField(max_length=LONGEST_NAME, label="Portion")
    share = ShareFormField(label="Of the batter")


class LayerForm(Row):
    """One pour of a portion."""

    told = ("portion", "share")
    portion = forms.CharField(max_length=LONGEST_NAME, label="Of portion")
    share = ShareFormField(label="How much of it")
    place = forms.ChoiceField(
        choices=[(place.value, place.value) for place in Place],
        initial=Place.ACROSS.value,
        label="Where",
    )
    note = forms.CharField(required=False, max_length=200, label="How")


def _rows(form: type[forms.Form], most: int, extra: int) -> Any:
    return formset_factory(
        form, formset=NewRows, extra=extra, max_num=most, absolute_max=most + 20, validate_max=True
    )


LINES, PORTIONS, LAYERS = (
    _rows(LineForm, MOST_LINES, 3),
    _rows(PortionForm, MOST_PORTIONS, 1),
    _rows(LayerForm, MOST_LAYERS, 1),
)


class Written:
    """All that stands on the page of a recipe that is being written, filled in or as it is kept."""

    def __init__(
        self, catalog: Catalog, data: Any = None, initial: Mapping[str, Any] | None = None
    ) -> None:
        kept = initial or {}
        self.catalog = catalog
        self.version = VersionForm(data, initial=kept.get("version"), catalog=catalog)
        blend = data is not None and data.get("kind") == "blend"
        self.lines = LINES(
            data,
            initial=kept.get("lines"),
            prefix="lines",
            form_kwargs={"catalog": catalog, "blend": blend},
        )
        self.portions = PORTIONS(data, initial=kept.get("portions"), prefix="portions")
        self.layers = LAYERS(data, initial=kept.get("layers"), prefix="layers")

    @property
    def rows(self) -> dict[str, Any]:
        """The formsets by the names under which services know their rows."""
        return {"lines": self.lines, "portions": self.portions, "layers": self.layers}

    def is_valid(self) -> bool:
        """Whether all of it can be read."""
        return all([self.version.is_valid(), *(rows.is_valid() for rows in self.rows.values())])
