"""Which filters a list knows."""

from collections.abc import Iterator
from typing import Any

from django_filters.fields import RangeField
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework import exceptions
from rest_framework.request import Request

from studio.foundation.roles import may_see_costs


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
