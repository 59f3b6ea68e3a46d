"""The scales of the studio: what each shows and what it holds."""

from django.db import models
from django.db.models import F, Q

from recipes.domain.weighing import COARSEST, LARGEST
from studio.foundation.model_fields import Between, CodeField, MassField, rules, said
from studio.models import Revised


class Scale(Revised):
    """A scale that things are weighed on. Masses in ng; names are told apart on every sheet."""

    code = said(
        CodeField(max_length=40, unique=True),
        "Code",
        meaning="the code by which the scale is found",
        example="bench",
    )
    name = said(
        models.CharField(max_length=60, unique=True),
        "Name",
        "It stands beside each weight.",
        meaning="its name, as it stands beside each weight",
        example="Bench scale",
    )
    step = said(
        MassField(validators=[Between(1, COARSEST, "A step is more than 0 and at most 1 kg.")]),
        "Step it shows",
        "The last digit it shows: 0.1 g, 0.05 oz.",
        meaning="the smallest step that it shows",
        example="0.1 g",
    )
    capacity = said(
        MassField(validators=[Between(1, LARGEST, "A scale holds more than 0 and at most 10 t.")]),
        "Holds at most",
        "Max: 3 kg, with the pot on it.",
        meaning="the most that it holds",
        example="3 kg",
    )
    note = said(models.TextField(blank=True, max_length=2000), "Note", meaning="anything else")
    active = said(
        models.BooleanField(default=True),
        "In use",
        meaning="whether it is still weighed on",
        example="yes",
    )

    class Meta:
        ordering = ["code"]
        constraints = rules(scale_step=Q(step__gt=0), scale_capacity=Q(capacity__gte=F("step")))

    def __str__(self) -> str:
        return self.name
