"""What the scale page asks: a mold, or a size in any unit."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils import timezone

from recipes.domain.weighing import MOST_BARS
from recipes.models.molds.molds import Mold
from recipes.services.scaling.wishes import Asked
from studio.foundation.units.conversion import length_nm, mass_ng, volume_nl
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField

SIZES = [
    ("mold", "Fill a mold"),
    ("fats", "So much fat"),
    ("batter", "So much batter"),
    ("volume", "Fill a volume"),
    ("bars", "So many bars"),
]
BLEND_SIZES = [("batter", "So much of it")]


class ScaleForm(forms.Form):
    """A target for a recipe. Only the fields that its kind of size asks for are read."""

    size = forms.ChoiceField(label="Scale to", widget=forms.RadioSelect)
    mold = forms.ChoiceField(required=False)
    fill_height = QuantityFormField(
        dimensions=[Dimension.LENGTH],
        stored=length_nm,
        required=False,
        label="Fill height",
        help_text="Where the mold is not filled to its usual line: 2 1/2 in, 60 mm.",
    )
    amount = forms.CharField(
        required=False,
        max_length=64,
        label="How much",
        help_text="With its unit: 1.5 kg, 3 lb 4 oz, 1200 mL.",
    )
    bars = forms.IntegerField(
        required=False, min_value=1, max_value=MOST_BARS, label="Number of bars"
    )
    poured_weight = QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        required=False,
        label="Weight of a bar as poured",
    )
    version = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    on = forms.DateField(
        required=False,
        label="Day it is made",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def __init__(self, *args: Any, molds: Sequence[Mold], is_soap: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.molds = {mold.code: mold for mold in molds}
        self.fields["size"].choices = SIZES if is_soap else BLEND_SIZES  # type: ignore[attr-defined]
        self.fields["mold"].choices = [  # type: ignore[attr-defined]
            ("", "Choose a mold"),
            *((mold.code, mold.name) for mold in molds),
        ]

    @property
    def is_empty(self) -> bool:
        """Whether nothing has been asked yet."""
        return not any(self.data.get(name) for name in ("mold", "amount", "bars", "poured_weight"))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self.asked = self._asked(given)
        given["on"] = given.get("on") or timezone.localdate()
        return given

    def _asked(self, given: dict[str, Any]) -> Asked | None:
        size = given.get("size")
        if size == "mold":
            if not given.get("mold"):
                self._wants("mold", "Choose a mold, or scale to a size.")
                return None
            return Asked(mold=given["mold"], fill_height_nm=given.get("fill_height"))
        if size == "bars":
            for name in ("bars", "poured_weight"):
                if given.get(name) is None and name not in self.errors:
                    self._wants(name, "Say how many bars, and how much is poured for each.")
            return Asked(bars=given.get("bars"), poured_weight_ng=given.get("poured_weight"))
        return self._amount(str(size), given)

    def _amount(self, size: str, given: dict[str, Any]) -> Asked | None:
        is_volume = size == "volume"
        read = QuantityFormField(
            dimensions=[Dimension.VOLUME if is_volume else Dimension.MASS],
            stored=volume_nl if is_volume else mass_ng,
            error_messages={"required": "Write how much, with its unit, such as 1.5 kg."},
        )
        try:
            amount = read.clean(given.get("amount"))
        except forms.ValidationError as error:
            self.add_error("amount", error)
            return None
        bars = given.get("bars")
        if is_volume:
            return Asked(volume_nl=amount, bars=bars)
        return (
            Asked(fats_ng=amount, bars=bars)
            if size == "fats"
            else Asked(batter_ng=amount, bars=bars)
        )

    def _wants(self, name: str, message: str) -> None:
        self.add_error(name, forms.ValidationError(message, code="required"))
