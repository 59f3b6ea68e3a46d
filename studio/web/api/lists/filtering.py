"""What the filters of all lists share. Other rows are named by code; values that can't be read are
refused, never ignored."""

from collections.abc import Iterator
from typing import Any

from django.core.exceptions import ValidationError
from django_filters import rest_framework as filters
from django_filters.fields import RangeField
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import exceptions
from rest_framework.request import Request

from studio.foundation.roles import may_see_costs

YES_NO = (("true", "true"), ("false", "false"))


@extend_schema_field(OpenApiTypes.BOOL)
class YesNoFilter(filters.ChoiceFilter):  # type: ignore[misc]
    """Exactly `true` or `false`: the library's own boolean filter ignores anything else."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, choices=YES_NO, **kwargs)

    def filter(self, qs: Any, value: Any) -> Any:
        return super().filter(qs, {"true": True, "false": False}.get(value, value))


def one_of(values: Any, **kwargs: Any) -> filters.ChoiceFilter:
    """A filter by one of an enumeration's values."""
    return filters.ChoiceFilter(choices=[(one.value, one.value) for one in values], **kwargs)


def by_code(path: str) -> filters.CharFilter:
    """A filter by the code of a related row."""
    return filters.CharFilter(field_name=f"{path}__code")


def day(field: str, lookup: str) -> filters.DateFilter:
    """A filter by a day written as 2026-03-02."""
    return filters.DateFilter(field_name=field, lookup_expr=lookup, input_formats=["%Y-%m-%d"])


class Filters(filters.FilterSet):  # type: ignore[misc]
    """Base of the lists' filters: one that is named but empty is refused, for a program that
    lost a value must not get the whole list instead."""

    def is_valid(self) -> bool:
        """Whether every filter that is named can be read."""
        valid = bool(super().is_valid())
        for name in self.filters:
            if name in self.data and not self.data[name].strip() and name not in self.form.errors:
                self.form.add_error(
                    name, ValidationError("Name a value, or leave it out.", "empty")
                )
                valid = False
        return valid


def filter_names(view: Any, request: Request) -> Iterator[str]:
    """The query parameters that the view's filters read."""
    backend = DjangoFilterBackend()
    filterset = backend.get_filterset_class(view, view.get_queryset())
    for name, one in (filterset.base_filters if filterset else {}).items():
        if issubclass(one.field_class, RangeField):
            yield from (f"{name}_{suffix}" for suffix in one.field.widget.suffixes)
        else:
            yield name


def refuse_cost_filters(view: Any, request: Request) -> None:
    """Costs must not be found out by filtering on them: the view names them in `cost_filters`."""
    asked = sorted(set(request.query_params) & set(getattr(view, "cost_filters", ())))
    if asked and not may_see_costs(request.user):
        raise exceptions.PermissionDenied(
            f"Filtering by {', '.join(asked)} shows costs, which an owner has not opened to you."
        )
