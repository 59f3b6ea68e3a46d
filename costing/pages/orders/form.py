"""What is asked of orders: bars by line, what leaves, what comes back, what is called off."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils import timezone

from inventory.services.shipping.returns import REASON_LENGTH
from recipes.domain.weighing import MOST_BARS
from studio.web.form_fields import DayFormField


class BarsForm(forms.Form):
    """A number of bars for each line, by its position: fields bars_1, bars_2, ..."""

    def __init__(
        self,
        *args: Any,
        lines: Sequence[Any],
        most: Mapping[int, int],
        usual: Mapping[int, int] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.lines = {f"bars_{line.position}": line for line in lines}
        for name, line in self.lines.items():
            limit = most[line.position]
            self.fields[name] = forms.IntegerField(
                required=False,
                min_value=0,
                max_value=limit,
                label=f"Bars of {line.product.name}",
                help_text=f"At most {limit}.",
                initial=None if usual is None else usual[line.position],
            )

    @property
    def rows(self) -> list[tuple[Any, Any]]:
        """Each line with its field."""
        return [(line, self[name]) for name, line in self.lines.items()]

    @property
    def names(self) -> dict[str, str]:
        """How the services call these fields."""
        return {f"lines.{line.position}": name for name, line in self.lines.items()}

    @property
    def bars(self) -> dict[int, int]:
        """Bars by position, those of at least one; once it is valid."""
        given = {line.position: self.cleaned_data[name] for name, line in self.lines.items()}
        return {position: bars for position, bars in given.items() if bars}


class LeavingForm(BarsForm):
    """What leaves now."""

    cartons = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=MOST_BARS,
        help_text="Empty: each line fills its own.",
    )
    shipped_on = DayFormField(label="Leaves on", initial=timezone.localdate)
    without_packaging = forms.BooleanField(
        required=False,
        label="Take no packaging from stock",
        help_text="What is not booked costs nothing here.",
    )
    note = forms.CharField(required=False, max_length=2000)


class BackForm(forms.Form):
    """What a customer sent back. `sent` names a line of a shipment."""

    sent = forms.ChoiceField(label="Out of")
    bars = forms.IntegerField(min_value=1, max_value=MOST_BARS, label="Bars that came back")
    reason = forms.CharField(max_length=REASON_LENGTH, label="Why")
    returned_on = DayFormField(label="Came back on", initial=timezone.localdate)

    def __init__(self, *args: Any, out: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sent"].choices = list(out)  # type: ignore[attr-defined]


class EndForm(forms.Form):
    """Why the rest is called off."""

    reason = forms.CharField(required=False, max_length=200, label="Why")
    cancel_batches = forms.BooleanField(
        required=False,
        label="Call off the batches that were planned for it, too",
        help_text="Those that are not poured and that no other order waits for.",
    )
