"""What a mold is written with: its shape, the measures of that shape, its fill and its cut."""

from typing import Any

from django import forms

from recipes.models.molds.molds import Mold, MoldShape
from recipes.services.molds.molds import ALL_SIZES, ALSO, SIZES
from studio.foundation.model_fields import CodeField
from studio.foundation.units.conversion import length_nm, volume_nl
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField, ShareFormField

SHAPES = {
    MoldShape.RECTANGULAR: "A box, such as a loaf",
    MoldShape.TAPERED: "A box with slanting sides",
    MoldShape.CYLINDER: "An upright tube",
    MoldShape.LYING_CYLINDER: "A tube that lies on its side",
    MoldShape.SLAB: "A slab, with or without dividers",
    MoldShape.MEASURED: "Any shape, measured by its volume",
}
#: Measures that mean nothing where they are left empty.
_NONE_IS_ZERO = ("divider", "trim", "overfill_share")
_LENGTHS = ("length", "width", "depth", "top_length", "top_width", "diameter", "divider")


def _length(label: str, help_text: str = "") -> QuantityFormField:
    return QuantityFormField(
        dimensions=[Dimension.LENGTH],
        stored=length_nm,
        unit="mm",
        required=False,
        label=label,
        help_text=help_text,
    )


class MoldForm(forms.Form):
    """One mold, measured inside. Only the measures of its shape are read."""

    name = forms.CharField(max_length=120, label="Name")
    code = forms.SlugField(
        required=False, max_length=40, label="Code", help_text="Left empty, it is made of the name."
    )
    shape = forms.ChoiceField(
        choices=[(shape.value, words) for shape, words in SHAPES.items()],
        initial=MoldShape.RECTANGULAR.value,
        label="Shape",
    )
    length = _length("Length inside", "240 mm, 9 1/2 in")
    width = _length("Width inside")
    depth = _length("Depth inside")
    top_length = _length("Length at the top")
    top_width = _length("Width at the top")
    diameter = _length("Diameter inside")
    divider = _length("Thickness of the dividers")
    measured_volume = QuantityFormField(
        dimensions=[Dimension.VOLUME],
        stored=volume_nl,
        unit="mL",
        required=False,
        label="Volume",
        help_text="Fill it with water and measure: 1.2 L, 40 fl oz.",
    )
    cavities = forms.IntegerField(min_value=1, initial=1, label="Equal cavities")
    fill_height = _length("Filled to", "From the bottom; empty: to the rim.")
    overfill_share = ShareFormField(
        required=False, label="Batter made beyond it", help_text="So that the mold is surely full."
    )
    rows = forms.IntegerField(min_value=1, initial=1, label="Cut along its length into")
    columns = forms.IntegerField(min_value=1, initial=1, label="Cut across into")
    layers = forms.IntegerField(min_value=1, initial=1, label="Cut flat into")
    trim = _length("Cut off at each end")
    note = forms.CharField(
        required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}), label="Note"
    )
    active = forms.BooleanField(required=False, initial=True, label="In use")

    def __init__(self, *args: Any, kept: Mold | None = None, **kwargs: Any) -> None:
        self.kept = kept
        if kept is not None:
            kwargs["initial"] = {name: getattr(kept, name) for name in self.base_fields}
            for name in (*_LENGTHS, "trim"):
                kwargs["initial"][name] = kwargs["initial"][name] or None
        super().__init__(*args, **kwargs)
        if kept is not None:
            del self.fields["code"]

    @property
    def sizes(self) -> list[tuple[Any, str]]:
        """The measures, each with the shapes it belongs to."""
        return [
            (self[name], " ".join(f"of-{shape.value}" for shape in MoldShape if name in of(shape)))
            for name in (*ALL_SIZES, "divider")
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        shape = MoldShape(given["shape"]) if given.get("shape") else MoldShape.RECTANGULAR
        for name in (*ALL_SIZES, "divider"):
            if name not in of(shape):
                # What stands in a field that the shape does not show was not meant for it.
                given[name] = None
                self.errors.pop(name, None)
        for name in _NONE_IS_ZERO:
            if given.get(name) is None:
                given[name] = 0
        if self.kept is None and given.get("name") and "code" not in self.errors:
            given["code"] = given.get("code") or CodeField.made_from(given["name"])
            self._check_code(given["code"])
        return given

    def _check_code(self, code: str) -> None:
        if not code:
            self.add_error("code", "Write a code of letters, digits and hyphens.")
        elif Mold.objects.filter(code=code).exists():
            self.add_error("code", f"There is a mold {code} already: write another code.")

    def put_into(self, mold: Mold) -> Mold:
        """The mold with what is written."""
        for name in self.fields:
            if name in self.cleaned_data:
                setattr(mold, name, self.cleaned_data[name])
        return mold


def of(shape: MoldShape) -> tuple[str, ...]:
    """The measures that a shape has."""
    return SIZES[shape] + ALSO.get(shape, ())
