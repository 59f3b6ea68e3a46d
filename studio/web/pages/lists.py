"""Long lists: a filter kept in the address, pages cut by key so that none jumps, fixed queries."""

import base64
import binascii
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import FieldError, ValidationError
from django.db.models import Q, QuerySet
from django.forms import Form
from django.http import HttpRequest

from studio.foundation.errors import InvalidInput

SIZE = 50
PAGING = ("after", "before")


@dataclass(frozen=True, slots=True)
class ListPage:
    """Some rows of a list. `earlier` and `later` are query strings, empty at the ends."""

    rows: list[Any]
    earlier: str
    later: str
    filters: Form | None = None
    filtered: bool = False


def list_page(
    request: HttpRequest,
    rows: "QuerySet[Any]",
    *,
    order: Sequence[str],
    filters: Form | None = None,
    size: int = SIZE,
) -> ListPage:
    """The page of `rows` that the address asks for. One query.

    `order` names columns that are never NULL ("-planned_on", "id"); the last is unique. `filters`
    is the bound form whose values the caller has put into `rows` already; it is only carried to
    the template. Raises InvalidInput for a place in the list that cannot be read.
    """
    backward = "before" in request.GET
    marker = request.GET.get("before" if backward else "after", "")
    ordered = [_turned(name) for name in order] if backward else list(order)
    cut = rows.order_by(*ordered)
    if marker:
        cut = cut.filter(_beyond(ordered, _read(marker, len(order))))
    try:
        found = list(cut[: size + 1])
    except (ValueError, TypeError, ValidationError, FieldError) as error:
        raise InvalidInput(UNREADABLE) from error
    more, found = len(found) > size, found[:size]
    if backward:
        found.reverse()
    has_earlier, has_later = (more, bool(marker)) if backward else (bool(marker), more)
    return ListPage(
        rows=found,
        earlier=_query(request, "before", found[0], order) if found and has_earlier else "",
        later=_query(request, "after", found[-1], order) if found and has_later else "",
        filters=filters,
        filtered=any(
            value
            for name, value in request.GET.items()
            if name not in PAGING and str(value).strip()
        ),
    )


UNREADABLE = "This place in the list cannot be read: open the list from its beginning."


def _turned(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


def _beyond(order: Sequence[str], values: Sequence[Any]) -> Q:
    """Rows after `values` in `order`: greater in the first column, or equal and greater in ..."""
    condition, equal = Q(), Q()
    for name, value in zip(order, values, strict=True):
        column = name.lstrip("-")
        way = "lt" if name.startswith("-") else "gt"
        condition |= equal & Q(**{f"{column}__{way}": value})
        equal &= Q(**{column: value})
    return condition


def _query(request: HttpRequest, way: str, row: Any, order: Sequence[str]) -> str:
    values = request.GET.copy()
    for name in PAGING:
        values.pop(name, None)
    values[way] = _written([_value(row, name.lstrip("-")) for name in order])
    return f"?{values.urlencode()}"


def _value(row: Any, path: str) -> Any:
    for name in path.split("__"):
        row = row[name] if isinstance(row, Mapping) else getattr(row, name)
    return row


def _written(values: Sequence[Any]) -> str:
    plain = [value.isoformat() if isinstance(value, date | datetime) else value for value in values]
    return base64.urlsafe_b64encode(json.dumps(plain, default=str).encode()).decode().rstrip("=")


def _read(marker: str, count: int) -> list[Any]:
    try:
        padded = marker + "=" * (-len(marker) % 4)
        values = json.loads(base64.urlsafe_b64decode(padded.encode("ascii")))
    except (ValueError, binascii.Error, RecursionError) as error:
        raise InvalidInput(UNREADABLE) from error
    plain = isinstance(values, list) and all(isinstance(v, str | int | float) for v in values)
    if not plain or len(values) != count or "\0" in str(values):
        raise InvalidInput(UNREADABLE)
    return list(values)
