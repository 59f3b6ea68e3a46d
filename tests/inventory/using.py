"""A history of use: what was booked on past days, with books that still add up.

The ledger writes its own time on every entry, so a past is written below it; each use comes in
and goes out again, which leaves the balances as they are.
"""

import uuid
from datetime import date, datetime, time, timedelta

from django.db import connection
from django.utils import timezone

from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from tests.inventory.making import TODAY, make_lot

_INSERT = """
INSERT INTO inventory_stockentry
    (posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at)
VALUES (%s, %s, %s, %s, 0, 0, 'test', '', %s, %s)
"""


def noon(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(12)))


def there_since(material: Material, day: date, **values: object) -> Lot:
    """A lot that has been there since a past day; 1 piece or ng of it is left."""
    lot = make_lot(material, 1, received_on=day, **values)
    Lot.objects.filter(pk=lot.pk).update(created_at=noon(day))
    return lot


def used(lot: Lot, amounts: dict[date, int], *, verb: str = "consume") -> None:
    """Book uses of a lot on past days."""
    posting = uuid.uuid4()
    kept = posting if connection.vendor == "postgresql" else posting.hex
    with connection.cursor() as cursor:
        for day, amount in amounts.items():
            on = connection.ops.adapt_datefield_value(day)
            at = connection.ops.adapt_datetimefield_value(noon(day))
            for name, change in (("receive", amount), (verb, -amount)):
                cursor.execute(_INSERT, [kept, lot.pk, name, change, on, at])


def used_weekly(material: Material, amounts: list[int], *, on: date = TODAY) -> Lot:
    """Uses of one a week, the last one in the week before `on`, with a lot since the first."""
    first = len(amounts) * 7
    lot = there_since(material, on - timedelta(days=first))
    used(
        lot,
        {on - timedelta(days=first - 7 * n - 3): each for n, each in enumerate(amounts) if each},
    )
    return lot
