"""What a mold is written with: its shape, the measures of that shape, its fill and its cut."""

from typing import Any

from django import forms

from recipes.models.molds.molds import Mold, MoldShape
from recipes.services.molds.molds import ALL_SIZES, ALSO, SIZES
from studio.foundation.model_fields import described
from studio.web.pages.row_forms import NamedRowForm

SHAPES = {
    MoldShape.RECTANGULAR: "A box, such as a loaf",
    MoldShape.TAPERED: "A box with slanting sides",
    MoldShape.CYLINDER: "An upright tube",
    MoldShape.LYING_CYLINDER: "A tube that lies on its side",
    MoldShape.SLAB: "A slab, with or without dividers",
    MoldShape.MEASURED: "Any shape, measured by its volume",
}
#: Measures that mean nothing where they are left empty.
_NONE_IS_ZERO = ("divider", "trim")


class MoldForm(NamedRowForm):
    """One mold, measured inside. Only the measures of its shape are read."""

    shape = forms.ChoiceField(
        choices=[(shape.value, words) for shape, words in SHAPES.items()],
        initial=MoldShape.RECTANGULAR.value,
        label="Shape",
    )

    class Meta(NamedRowForm.Meta):
        model = Mold
        fields = described(Mold)

    def __init__(self, *args: Any, instance: Mold | None = None, **kwargs: Any) -> None:
        if instance is not None:
            kwargs["initial"] = {name: getattr(instance, name) or None for name in _NONE_IS_ZERO}
        super().__init__(*args, instance=instance, **kwargs)

    @property
    def sizes(self) -> list[tuple[Any, str]]:
        """The measures, each with the shapes it belongs to."""
        return [
            (self[name], " ".join(f"of-{shape.value}" for shape in MoldShape if name in of(shape)))
            for name in (*ALL_SIZES, "divider")
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        shape = MoldShape(given["shape"]) if given.get("shape") else MoldShape.RECTANGULAR
        for name in (*ALL_SIZES, "divider"):
            if name not in of(shape):
                # What stands in a field that the shape does not show was not meant for it.
                given[name] = None
                self.errors.pop(name, None)
        return given


def of(shape: MoldShape) -> tuple[str, ...]:
    """The measures that a shape has."""
    return SIZES[shape] + ALSO.get(shape, ())
