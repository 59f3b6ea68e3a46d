"""Prove the books: every lot against its entries and its reservations."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from inventory.services.stock.proof import Difference, prove_books
from studio.foundation.money import amount_text
from studio.foundation.units.writing import format_amount, how_many

#: How many lots the last line names; each has its own line before that.
NAMED = 10


class Command(BaseCommand):
    help = "Prove that every lot's balances are what its entries and its reservations say."

    def handle(self, *args: Any, **options: Any) -> None:
        proof = prove_books()
        lots = how_many(proof.lots, "lot", "lots")
        if proof.holds:
            entries = how_many(proof.entries, "entry", "entries")
            self.stdout.write(f"The books are proved: {lots}, {entries}, nothing differs.")
            return
        for difference in proof.differences:
            self.stdout.write(_line(difference))
        wrong = sorted({one.lot for one in proof.differences if not one.document})
        documents = sorted({one.document for one in proof.differences if one.document})
        told = [f"{len(wrong):,} of {lots}: {_named(wrong)}"] if wrong else []
        if documents:
            batches = how_many(len(documents), "document", "documents")
            told.append(f"{batches}: {_named(documents)}")
        raise CommandError(f"The books differ for {'; '.join(told)}.")


def _named(names: Sequence[str]) -> str:
    return ", ".join(names[:NAMED]) + (" and more" if len(names) > NAMED else "")


def _line(difference: Difference) -> str:
    """Such as "Lot L-00003: on hand is 1500 g on the row, 1000 g by the books"."""
    on_row, in_books = (
        _amount(value, difference.unit) for value in (difference.on_row, difference.in_books)
    )
    if difference.document:
        what, against = difference.what, difference.against
        return f"{difference.document}: {what} is {on_row}, but {against} {in_books}."
    if difference.law:
        return f"Lot {difference.lot}: the law '{difference.law}' is broken, with {on_row} on hand."
    return (
        f"Lot {difference.lot}: {difference.what} is {on_row} on the row, {in_books} by the books."
    )


def _amount(value: int | str, unit: str) -> str:
    if isinstance(value, str):
        return value
    if unit == "money":
        text = amount_text(value, currency=settings.STUDIO_CURRENCY)
        return f"{text} {settings.STUDIO_CURRENCY}"
    return str(value) if unit == "entries" else f"{format_amount(value, unit)} {unit}"
