"""Rows in bodies and answers: named by code or account, and those that hold from a day on."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any, ClassVar

from rest_framework import serializers

from studio.foundation.money import PER_UNIT
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.permissions import Rules

LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.PRICE, Capability.SEE_COSTS)


class ExactMoneyField(serializers.CharField):
    """Exact money as a fraction of the currency: "155/7"."""

    def to_representation(self, value: Any) -> str:
        return str(value / PER_UNIT)


def described_by(description: type[Any]) -> tuple[str, ...]:
    """What a frozen dataclass says of a row, in its order."""
    return tuple(field.name for field in fields(description))


class DescribedRowViewSet(MasterViewSet):
    """Rows that a service keeps as they are described, found by their codes."""

    #: The frozen dataclass that describes a row whole, and the service that keeps what it says.
    describe: ClassVar[type[Any]]
    save: ClassVar[Callable[..., Any]]
    ordering = ("code",)
    rules: ClassVar[Rules] = master_rules(SET)

    def create_row(self, given: Any, serializer: Any) -> Any:
        return type(self).save(self.describe(**given), by=caller(self.request))

    def change_row(self, row: Any, given: Any, serializer: Any) -> Any:
        kept: dict[str, Any] = {}
        if serializer.partial:
            left_out = set(described_by(self.describe)) - set(given)
            kept = {name: _as_given(getattr(row, name)) for name in left_out}
        described = self.describe(**kept, **given)
        return type(self).save(described, row_id=row.pk, by=caller(self.request))


class DatedViewSet(DescribedRowViewSet):
    """Rows that hold from a day on, for those who may see costs."""

    lookup_field = "id"
    ordering = ("id",)
    rules: ClassVar[Rules] = master_rules(SET, look=LOOK)


def _as_given(value: Any) -> Any:
    """Another row by its code; anything else as it is."""
    return getattr(value, "code", value)
