"""The question whether a superfat below zero at its worst is accepted, as forms ask it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django import forms

from recipes.errors import WorstNotAccepted
from studio.foundation.units.writing import percent
from studio.web.pages.forms import place_faults

NAME = "accept_worst"


class FigureBox(forms.CheckboxInput):
    """A box that sends the figure it was shown with, so that nobody accepts another one."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        """The figure as sent; None where the box is empty."""
        return data.get(name)

    def format_value(self, value: Any) -> None:
        """The figure stands among the attributes, whether the box is ticked or not."""


class AcceptsWorst(forms.Form):
    """A form with a box for the figure; it is shown only where it was asked about."""

    accept_worst = forms.DecimalField(
        required=False, min_value=-1, max_value=0, max_digits=7, decimal_places=6, widget=FigureBox
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._show(self.data.get(NAME))

    @property
    def asks_worst(self) -> bool:
        """Whether it must be accepted, or was."""
        return "value" in self.fields[NAME].widget.attrs

    def ask_worst(self, figure: str) -> None:
        """Show the box for this figure, empty: it was not accepted yet."""
        data: Any = self.data  # what was sent is read-only, its copy is not
        data = data.copy()
        data.pop(NAME, None)
        self.data = data
        self._show(figure)

    def _show(self, figure: Any) -> None:
        field = self.fields[NAME]
        try:
            share = field.clean(figure)
        except forms.ValidationError:
            return
        if share is not None:
            field.widget.attrs["value"] = str(share)
            # What is drawn is made when the form is cleaned, before anything was asked.
            drawn = self[NAME]
            least = percent(share)
            drawn.label = f"I accept a superfat down to {least} at its worst, for this version"
            drawn.help_text = (
                "By your name, and once: a batch asks again only where it may be lower. Lye burns."
            )


@contextmanager
def asking_worst(form: forms.Form) -> Iterator[None]:
    """What is asked about within is told above the form, with the box beside it, and ends it."""
    try:
        yield
    except WorstNotAccepted as refusal:
        place_faults(refusal, form, names={NAME: ""})
        if isinstance(form, AcceptsWorst):
            form.ask_worst(refusal.faults[0].details["worst"])
