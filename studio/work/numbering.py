"""The studio's own codes: a prefix and a number that is never given twice."""

from django.db import transaction
from django.db.models import F

from studio.models import Numbering


def next_codes(prefix: str, count: int = 1) -> list[str]:
    """Give out `count` new codes such as "L-00042", in order.

    Must be called inside a transaction: the row of the prefix stays locked until its end, so two
    writers never receive the same code. Two queries (three for the first code of a prefix).
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("next_codes must be called inside a transaction")
    if not Numbering.objects.filter(prefix=prefix).update(last=F("last") + count):
        Numbering.objects.get_or_create(prefix=prefix)
        Numbering.objects.filter(prefix=prefix).update(last=F("last") + count)
    last = Numbering.objects.values_list("last", flat=True).get(prefix=prefix)
    return [f"{prefix}-{number:05d}" for number in range(last - count + 1, last + 1)]


def next_code(prefix: str) -> str:
    """Give out one new code; see `next_codes`."""
    return next_codes(prefix)[0]


def last_number(prefix: str) -> int:
    """The last number given out under a prefix; 0 before the first. One query."""
    return Numbering.objects.filter(prefix=prefix).values_list("last", flat=True).first() or 0


def skip_code(prefix: str, number: int) -> None:
    """Never give out this number nor one below it: something came from elsewhere with its code.

    Must be called inside a transaction. Two queries.
    """
    Numbering.objects.get_or_create(prefix=prefix)
    Numbering.objects.filter(prefix=prefix, last__lt=number).update(last=number)
