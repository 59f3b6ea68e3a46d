"""The history of many lots at once, in the rows that django-simple-history would write one by one.

Its own bulk helper makes an object of each lot first, which takes a second for a large recall.
"""

from collections.abc import Iterable

from django.db import connection
from django.utils import timezone

from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import among
from studio.foundation.doers import By, doer


def keep_history(ids: Iterable[int], *, because: str, by: By) -> None:
    """Keep how these lots stand now as a change. One query."""
    table = Lot.history.model._meta
    known = {field.column for field in table.concrete_fields}
    columns = [field.column for field in Lot._meta.concrete_fields if field.column]
    columns = [column for column in columns if column in known]
    kept = ", ".join(columns)
    listed = among(ids)
    sql = (
        f"INSERT INTO {table.db_table} ({kept}, history_date, history_type, history_change_reason,"
        f" history_user_id) SELECT {kept}, %s, '~', %s, %s"
        f" FROM inventory_lot WHERE id IN ({listed.sql})"
    )
    at = connection.ops.adapt_datetimefield_value(timezone.now())
    person = by or doer()
    with connection.cursor() as cursor:
        cursor.execute(sql, [at, because, person.pk if person else None, *listed.params])
