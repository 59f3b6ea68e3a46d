"""Rows in bodies and answers: named by code or account, and those that hold from a day on."""

from collections.abc import Callable
from dataclasses import fields
from fractions import Fraction
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from studio.foundation.money import PER_UNIT
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.viewsets import MasterViewSet
from studio.web.permissions import Rules

LONGEST_CODE = 40
STAMPS = ("revision", "created_at", "updated_at", "changed_by")
LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.PRICE, Capability.SEE_COSTS)


class CodeField(serializers.CharField):
    """The code of another row; written from the row or its code."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", LONGEST_CODE)
        super().__init__(**kwargs)

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "code", value))


class ExactMoneyField(serializers.CharField):
    """Exact money as a fraction of the currency: "155/7"."""

    def to_representation(self, value: Fraction) -> str:
        return str(value / PER_UNIT)


@extend_schema_field({"type": ["string", "null"]})
class PersonField(serializers.Field[Any, Any, Any, Any]):
    """The name of the account that did it; null for the studio's own jobs."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> str:
        return str(value.get_username())


class DatedViewSet(MasterViewSet):
    """Rows that hold from a day on, for those who may see costs; a service keeps them."""

    #: The frozen dataclass that describes a row whole, and the service that keeps what it says.
    describe: ClassVar[type[Any]]
    save: ClassVar[Callable[..., Any]]
    lookup_field = "id"
    ordering = ("id",)
    rules: ClassVar[Rules] = {
        "list": LOOK,
        "retrieve": LOOK,
        "create": SET,
        "update": SET,
        "partial_update": SET,
    }

    def create_row(self, given: Any, serializer: Any) -> Any:
        return type(self).save(self.describe(**given), by=caller(self.request))

    def change_row(self, row: Any, given: Any, serializer: Any) -> Any:
        kept: dict[str, Any] = {}
        if serializer.partial:
            left_out = {field.name for field in fields(self.describe)} - set(given)
            kept = {name: _as_given(getattr(row, name)) for name in left_out}
        described = self.describe(**kept, **given)
        return type(self).save(described, row_id=row.pk, by=caller(self.request))


def _as_given(value: Any) -> Any:
    """Another row by its code; anything else as it is."""
    return getattr(value, "code", value)
