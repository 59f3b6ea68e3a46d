"""Rates of labor and overhead: each holds from its day until the next one of its kind."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from costing.domain.rates.rates import RateKind
from costing.errors import RateRefusal, RateTaken
from costing.models.rates.rates import Rate
from studio.foundation.errors import Faults, NotFound
from studio.foundation.money import PER_UNIT

if TYPE_CHECKING:
    from django.contrib.auth.models import User

#: The largest rate, in ten-thousandths: with it, the labor of years still fits the books.
MAX_RATE = 1_000_000 * PER_UNIT


@dataclass(frozen=True, slots=True, kw_only=True)
class RateDescription:
    """What is paid for, how much by the hour or batch (ten-thousandths), and from which day."""

    kind: RateKind
    amount: int
    effective_from: date


@transaction.atomic
def save_rate(
    described: RateDescription, *, rate_id: int | None = None, by: "User | None" = None
) -> Rate:
    """Keep a rate: a new one, or in place of what `rate_id` was.

    What was capitalized before stays as it is: each batch keeps the amounts it was costed with.
    Raises RateRefusal for an amount below zero or above `MAX_RATE`, RateTaken when the kind
    has another rate from that day, NotFound for an unknown id.
    """
    _check(described)
    rate = Rate() if rate_id is None else _locked(rate_id)
    rate.kind = described.kind.value
    rate.amount = described.amount
    rate.effective_from = described.effective_from
    if rate_id is not None:
        rate.revision += 1
    rate._history_user = by  # type: ignore[attr-defined]
    try:
        with transaction.atomic():
            rate.save()
    except IntegrityError as error:
        raise RateTaken(
            f"A rate of the kind {described.kind} from {described.effective_from} is there "
            "already; change it, or start on another day.",
            field="effective_from",
        ) from error
    return rate


def _locked(rate_id: int) -> Rate:
    try:
        return Rate.objects.select_for_update().get(pk=rate_id)
    except Rate.DoesNotExist:
        raise NotFound(f"There is no rate with the id {rate_id}.", field="rate") from None


def _check(described: RateDescription) -> None:
    faults = Faults()
    if described.amount < 0:
        faults.add("below-zero", "A rate cannot be below zero.", "amount")
    if described.amount > MAX_RATE:
        faults.add("too-large", f"A rate is at most {MAX_RATE // PER_UNIT}.", "amount")
    faults.raise_if_any(RateRefusal)
