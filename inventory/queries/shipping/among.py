"""Many ids in one parameter: a list of thousands of marks costs more to write than to answer."""

import json
from collections.abc import Iterable
from typing import Any

from django.db import connection
from django.db.models.expressions import RawSQL

_LISTED = {
    "sqlite": "SELECT value FROM json_each(%s)",
    "postgresql": "SELECT unnest(%s::bigint[])",
}
_AMONG = {"sqlite": f"IN ({_LISTED['sqlite']})", "postgresql": "= ANY(%s)"}


def among(ids: Iterable[int]) -> RawSQL:
    """The ids as a subquery, for filters such as `pk__in=among(ids)`."""
    return RawSQL(_LISTED[connection.vendor], [_given(ids)])


def rows_among(sql: str, ids: Iterable[int]) -> list[tuple[Any, ...]]:
    """The rows of plain SQL in which `{among}` stands once, behind a column of ids. One query."""
    with connection.cursor() as cursor:
        cursor.execute(sql.format(among=_AMONG[connection.vendor]), [_given(ids)])
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def _given(ids: Iterable[int]) -> str | list[int]:
    listed = list(ids)
    return json.dumps(listed) if connection.vendor == "sqlite" else listed
