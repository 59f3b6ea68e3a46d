"""Serializers that refuse what they don't know, and keep costs from those who may not see them."""

from collections.abc import Mapping
from typing import Any, ClassVar, TypeVar

from django.db.models import Model
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from studio.foundation import model_fields as fields
from studio.foundation.doers import DoerField
from studio.foundation.errors import Refusal
from studio.foundation.model_fields import Between, described, said_of
from studio.foundation.roles import may_see_costs
from studio.web.error_tree import as_validation_error
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField
from studio.work.keeping import changed

Row = TypeVar("Row", bound=Model)
#: What a column's own JSON field takes of what Django REST framework knows of the column.
KEPT = ("required", "allow_null", "read_only")
#: What a row of master data tells of its changes; nobody sets it.
STAMPS = ("revision", "created_at", "updated_at", "changed_by")
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
    """For rows of master data. Fields that their model describes need no words here: it reads them,
    and what they may be is left to the service."""

    def build_standard_field(self, field_name: str, model_field: Any) -> Any:
        kind, kwargs = super().build_standard_field(field_name, model_field)
        if "validators" in kwargs:
            kwargs["validators"] = [v for v in kwargs["validators"] if not isinstance(v, Between)]
        if not hasattr(model_field, "said"):
            return kind, kwargs
        kind, own = exact_field(model_field) or (kind, {})
        kept = {name: value for name, value in kwargs.items() if not own or name in KEPT}
        meaning = said_of(model_field).meaning
        words = meaning and f"{meaning[0].upper()}{meaning[1:]}."
        if kind is ShareField:
            words += ' A fraction of 1; "5 %" is read too.'
        return kind, {**kept, **own, "help_text": words}

    def build_relational_field(self, field_name: str, relation_info: Any) -> Any:
        if isinstance(relation_info.model_field, DoerField):
            words = "The account that did it; null where nobody noted it."
            kwargs = {"read_only": True, "default": None, "allow_null": True, "help_text": words}
            return serializers.CharField, {"source": f"{field_name}.username", **kwargs}
        return super().build_relational_field(field_name, relation_info)

    def given_row(self) -> tuple[Any, tuple[str, ...]]:
        """The row with what was read, and the names of that; a whole one (PUT) resets the rest."""
        model: Any = self.Meta.model
        own = described(model)
        given = {name: v for name, v in self.validated_data.items() if name in own}
        if not self.partial:
            hidden = () if self.sees_costs() else self.cost_fields
            names = [n for n in own if n in self.fields and n not in hidden]
            given = {n: model._meta.get_field(n).get_default() for n in names} | given
        row: Any = self.instance or model()
        return changed(row, given), tuple(given)


def exact_field(field: Any) -> tuple[type[serializers.Field[Any, Any, Any, Any]], Any] | None:
    """The JSON field of a column that holds an exact number, with its arguments."""
    match field:
        case fields.MoneyField():
            return MoneyField, {"allow_negative": False}
        case fields.MeasureField():
            return BaseQuantityField, {"unit": field.unit}
        case fields.ShareField():
            return ShareField, {"min_value": None, "max_value": None}
        case fields.FixedPointField():
            return DecimalTextField, {"places": field.places}
    return None
