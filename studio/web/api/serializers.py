"""Serializers that refuse what they don't know, and keep costs from those who may not see them."""

from collections.abc import Mapping
from typing import Any, ClassVar, TypeVar

from django.db.models import Model
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from studio.foundation.errors import Refusal
from studio.foundation.roles import may_see_costs
from studio.web.error_tree import as_validation_error

Row = TypeVar("Row", bound=Model)
MOST_UNKNOWN_TOLD = 20
COSTS_CLOSED = "Your role may not set costs or prices: leave this out, or ask an owner."


class _Strict(serializers.Serializer[Any]):
    """What both kinds share. `cost_fields` names the fields that hold costs or prices."""

    cost_fields: ClassVar[tuple[str, ...]] = ()

    def sees_costs(self) -> bool:
        """Whether costs go in and out: by the caller's role; without a request, only when the
        context says `see_costs=True`."""
        given = self.context.get("see_costs")
        if given is not None:
            return bool(given)
        request = self.context.get("request")
        return request is not None and may_see_costs(request.user)

    def tells_costs(self, instance: Any) -> bool:
        """Whether the `cost_fields` of this row hold costs; a subclass may know better."""
        return True

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        if self.cost_fields and not self.sees_costs() and self.tells_costs(instance):
            for name in self.cost_fields:
                shown.pop(name, None)
        return shown

    def to_internal_value(self, data: Any) -> Any:
        refused = self._refused(data) if isinstance(data, Mapping) else {}
        readable = {k: v for k, v in data.items() if k not in refused} if refused else data
        try:
            value = super().to_internal_value(readable)
        except ValidationError as error:
            if not isinstance(error.detail, Mapping):
                raise
            raise ValidationError({**error.detail, **refused}) from error
        if refused:
            raise ValidationError(refused)
        return value

    def run_validation(self, data: Any = serializers.empty) -> Any:
        try:
            return super().run_validation(data)
        except Refusal as refusal:  # from validate(): its faults join the other field errors
            raise as_validation_error(refusal) from refusal

    def _refused(self, data: Mapping[str, Any]) -> dict[str, list[ErrorDetail]]:
        writable = {name: f for name, f in self.fields.items() if not f.read_only}
        known = ", ".join(writable) or "none"
        refused: dict[str, list[ErrorDetail]] = {}
        for name in data:
            if name in writable or len(refused) >= MOST_UNKNOWN_TOLD:
                continue
            if name in self.fields:
                told = ErrorDetail("The studio sets this itself: leave it out.", "read-only")
            else:
                told = ErrorDetail(f"Not known here. Known: {known}.", "unknown-field")
            refused[name[:80]] = [told]
        if not self.sees_costs():
            for name in self.cost_fields:
                if name in data and name in writable:
                    refused[name] = [ErrorDetail(COSTS_CLOSED, "costs-closed")]
        return refused


class StrictSerializer(_Strict):
    """For bodies and answers that are not rows."""


class StrictModelSerializer(_Strict, serializers.ModelSerializer[Row]):
    """For rows of master data."""
