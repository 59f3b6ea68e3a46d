"""The columns of a certificate, made from its description."""

from decimal import Decimal

from django.db import models

from inventory.domain.catalog.allergens import allergens_in_words, read_allergens, written_allergens
from inventory.domain.catalog.certificate import VALUES, Certificate, Value
from inventory.domain.catalog.ranges import RANGES
from inventory.models.catalog.materials import empty_or_positive, share_between
from studio.foundation.model_fields import FixedPointField, ShareField, said


def _column(value: Value) -> FixedPointField[Decimal | None, Decimal | None]:
    kind = ShareField if value.is_share else FixedPointField
    field = kind(places=value.places, null=True, blank=True)
    label = value.meaning.capitalize() if value.qualifies else value.short or value.label
    return said(field, f"{label}, {value.unit}" if value.unit else label)


class Certified(models.Model):
    """A row with a column for each value of a certificate; together they are its `certificate`."""

    allergens = said(
        models.JSONField(null=True, blank=True, help_text="As certified; none stated where empty."),
        "Allergens",
        write=allergens_in_words,
    )

    class Meta:
        abstract = True

    @property
    def certificate(self) -> Certificate:
        """What is certified of this row."""
        measured: dict[str, Decimal | None] = {name: getattr(self, name) for name in VALUES}
        return Certificate(**measured, allergens=read_allergens(self.allergens))

    @certificate.setter
    def certificate(self, certificate: Certificate) -> None:
        for name in VALUES:
            setattr(self, name, getattr(certificate, name))
        stated = certificate.allergens
        self.allergens = None if stated is None else written_allergens(stated)


for _name, _value in VALUES.items():
    Certified.add_to_class(_name, _column(_value))


def certificate_checks(table: str) -> list[models.CheckConstraint]:
    """What the columns can state of themselves: shares are shares, what is above zero is so."""
    shares = [share_between(name, f"{table}_{name}") for name in VALUES if VALUES[name].is_share]
    positive = [
        empty_or_positive(name, f"{table}_{name}")
        for name, value in VALUES.items()
        if not value.is_share and RANGES[name].low > 0
    ]
    return [*positive, *shares]
