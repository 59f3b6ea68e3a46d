"""Rates and fees of selling: each holds from its day until the next one of what it is for."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction

from costing.domain.rates.rates import RateKind
from costing.errors import RateRefusal, RateTaken, StandardRefusal, StandardTaken
from costing.models.prices.prices import Tier
from costing.models.rates.rates import Fee, Rate
from costing.services.rows import keep_row, row_to_change
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY, PER_UNIT
from studio.work.cleaning import take_field_faults

#: The largest rate, in ten-thousandths: with it, the labor of years still fits the books.
MAX_RATE = 1_000_000 * PER_UNIT


@dataclass(frozen=True, slots=True, kw_only=True)
class RateDescription:
    """What is paid for, how much by the hour or batch (ten-thousandths), and from which day."""

    kind: RateKind
    amount: int
    effective_from: date


@transaction.atomic
def save_rate(described: RateDescription, *, row_id: int | None = None, by: By = None) -> Rate:
    """Keep a rate: a new one, or in place of what `row_id` was.

    What was capitalized before stays as it is: each batch keeps the amounts it was costed with.
    Raises RateRefusal for an amount below zero or above `MAX_RATE`, RateTaken when the kind
    has another rate from that day, NotFound for an unknown id.
    """
    _check(described)
    rate = row_to_change(Rate, row_id)
    rate.kind = RateKind(described.kind).value
    rate.amount = described.amount
    rate.effective_from = described.effective_from
    taken = RateTaken(
        f"A rate of the kind {described.kind} from {described.effective_from} is there "
        "already; change it, or start on another day.",
        field="effective_from",
    )
    return keep_row(rate, by=by, taken=taken)


def _check(described: RateDescription) -> None:
    faults = Faults()
    if described.amount < 0:
        faults.add("below-zero", "A rate cannot be below zero.", "amount")
    if described.amount > MAX_RATE:
        faults.add("too-large", f"A rate is at most {MAX_RATE // PER_UNIT}.", "amount")
    faults.raise_if_any(RateRefusal)


@dataclass(frozen=True, slots=True, kw_only=True)
class FeeDescription:
    """A fee from a day on: of the tier with that code, or of all; a share of 1 and a fixed part."""

    code: str
    name: str
    tier: str | None = None
    share: Decimal = Decimal(0)
    fixed_per_sale: int = 0
    effective_from: date


@transaction.atomic
def save_fee(described: FeeDescription, *, row_id: int | None = None, by: By = None) -> Fee:
    """Keep a fee: a new one, or in place of what `row_id` was.

    Fees are selling costs: no cost of stock changes by them (IAS 2 paragraph 16(d)), only floors
    and margins of the tier. Raises StandardRefusal, StandardTaken when the fee starts anew on that
    day already, NotFound for an unknown id.
    """
    row = row_to_change(Fee, row_id)
    row.code, row.name = described.code, described.name
    row.share, row.fixed_per_sale = described.share, described.fixed_per_sale
    row.effective_from = described.effective_from
    _check_fee(row, described)
    taken = StandardTaken(
        f"The fee {described.code} has another start on {described.effective_from} there; "
        "change that one, or start on another day.",
        field="effective_from",
    )
    return keep_row(row, by=by, taken=taken)


def _check_fee(row: Fee, described: FeeDescription) -> None:
    faults = Faults()
    row.tier = None
    if described.tier is not None:
        row.tier = Tier.objects.filter(code=described.tier).first()
        if row.tier is None:
            faults.add("not-found", f"There is no tier {described.tier}.", "tier")
    if not 0 <= described.share < 1:
        faults.add("out-of-range", "A share is at least 0 and less than all.", "share")
    if not 0 <= described.fixed_per_sale <= MAX_MONEY:
        faults.add("out-of-range", "It is not below zero, nor too large.", "fixed_per_sale")
    take_field_faults(faults, row, only=("code", "name"))
    faults.raise_if_any(StandardRefusal)
