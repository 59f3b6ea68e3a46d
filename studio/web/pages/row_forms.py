"""Forms of master data, whose fields and words are those of the model."""

from typing import Any

from django import forms
from django.db import models
from django.http import HttpRequest

from studio.foundation import model_fields as fields
from studio.foundation.model_fields import CodeField, described, said_of
from studio.foundation.units.conversion import STORED
from studio.foundation.units.registry import UNITS
from studio.web.form_fields import MoneyFormField, QuantityFormField, ShareFormField
from studio.work.exchange.described import STOCKED, bounds_of
from studio.work.keeping import changed


def expected_of(request: HttpRequest) -> frozenset[int]:
    """The revision that the form was opened with, for the service that saves the row."""
    sent = request.POST.get("revision", "")
    return frozenset({int(sent)} if sent.isascii() and sent.isdecimal() and len(sent) < 11 else ())


def form_field(field: Any, **kwargs: Any) -> Any:
    """The form field of a model's field, with its words. What may stay empty starts empty."""
    words = said_of(field)
    kwargs |= {"required": not field.blank, "label": words.label, "help_text": words.help}
    if field.has_default() and not field.blank:
        kwargs["initial"] = field.get_default()
    kind: Any = field.formfield
    match field:
        case fields.MoneyField():
            kind = MoneyFormField
        case fields.MeasureField():
            dimension = UNITS[field.unit].dimension
            kwargs |= {"dimensions": [dimension], "stored": STORED[dimension], "unit": field.unit}
            kind = QuantityFormField
        case fields.StockField():
            kwargs["dimensions"], kind = STOCKED, QuantityFormField
        case fields.ShareField():
            kind = ShareFormField
        case fields.FixedPointField():
            kwargs["places"], kind = field.places, NumberFormField
        case models.BooleanField():
            kwargs["required"] = False
        case models.IntegerField():
            kwargs["min_value"], kwargs["max_value"] = bounds_of(field)
        case models.TextField():
            kwargs["widget"] = forms.Textarea(attrs={"rows": 2})
    return kind(**kwargs)


class NumberFormField(forms.DecimalField):
    """A plain number as people type it: no arrows, no zeros at its end."""

    def __init__(self, *, places: int, **kwargs: Any) -> None:
        attrs = {"inputmode": "decimal", "maxlength": "16"}
        super().__init__(
            max_digits=12, decimal_places=places, widget=forms.TextInput(attrs=attrs), **kwargs
        )

    def prepare_value(self, value: Any) -> Any:
        return value if value is None or isinstance(value, str) else f"{value.normalize():f}"


class RowForm(forms.ModelForm):  # type: ignore[type-arg]
    """A row by its described fields; a subclass names them in its Meta, which takes this one's.

    It reads; what the row may be, its service says.
    """

    class Meta:
        formfield_callback = form_field

    def __init__(self, *args: Any, sees_costs: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not sees_costs:
            for name in getattr(self._meta.model, "costs", ()):
                self.fields.pop(name, None)

    def _post_clean(self) -> None:
        """Django would ask the database about each constraint, and answer without a field."""

    def given_row(self) -> tuple[Any, tuple[str, ...]]:
        """The row with what was written, and the names of that. Left empty is the default."""
        model = self._meta.model
        given = {n: v for n, v in self.cleaned_data.items() if n in described(model)}
        for name in (name for name, value in given.items() if value is None):
            given[name] = model._meta.get_field(name).get_default()
        return changed(self.instance, given), tuple(given)


class NamedRowForm(RowForm):
    """A row whose code never changes and, left empty, is made of its name."""

    code = forms.SlugField(
        required=False, max_length=40, label="Code", help_text="Left empty, it is made of the name."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is not None:
            del self.fields["code"]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if "code" in self.fields and given.get("name") and "code" not in self.errors:
            given["code"] = given.get("code") or CodeField.made_from(given["name"])
            if not given["code"]:
                self.add_error("code", "Write a code of letters, digits and hyphens.")
        return given
