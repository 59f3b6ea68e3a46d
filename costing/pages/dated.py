"""What pages of costs share: who may see and set them, and forms of what holds from a day on."""

from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from studio.foundation.roles import Capability
from studio.web.form_fields import DayFormField

LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.READ, Capability.PRICE, Capability.SEE_COSTS)
WORK_OUT = (Capability.READ, Capability.COMPUTE, Capability.SEE_COSTS)


def from_day() -> forms.DateField:
    """The day from which it holds, today unless another is chosen."""
    return DayFormField(
        label="From the day",
        initial=timezone.localdate,
        help_text="What was made or sold before keeps what held then.",
    )


def whole(label: str, *, most: int, help_text: str = "", least: int = 0) -> forms.IntegerField:
    """A whole number that may stay empty."""
    return forms.IntegerField(
        required=False,
        min_value=least,
        max_value=most,
        label=label,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


def to_be_replaced(rows: QuerySet[Any], *, effective_from: date) -> int | None:
    """The id of the one of the same day, written anew only if it did not hold before today."""
    row = rows.filter(effective_from=effective_from).first()
    return row.pk if row is not None and effective_from >= timezone.localdate() else None
