"""The proof of cuts: what was weighed out of a pour is no more than was poured."""

from django.db.models import F
from django.db.models.functions import Coalesce

from inventory.services.stock.proof import CHECKS, Check, Difference
from recipes.models.cure.finishing import STATED, CutRecord


def cuts_above_their_pour() -> list[Difference]:
    """Cuts of which the stated parts weigh more than was poured, within the scale. One query.

    Cuts of before that was refused have no allowance for the scale.
    """
    rows = CutRecord.objects.annotate(
        stated=STATED, most=F("poured") + Coalesce(F("allowance"), 0)
    ).filter(stated__gt=F("most"))
    return [
        Difference(
            lot="",
            document=record.batch.holder,
            what="weight of bars, rejects and ends",
            unit="g",
            on_row=int(record.stated),
            in_books=int(record.most),
            against="what was poured, with all that the scale allows, weighed",
        )
        for record in rows.select_related("batch").order_by("batch")
    ]


def register_checks() -> None:
    """Make the recipes' part of the proof known."""
    CHECKS.register(Check(name="mass at the cut", find=cuts_above_their_pour))
