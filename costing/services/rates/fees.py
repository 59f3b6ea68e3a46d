"""Fees of selling: each holds from its day until the next one of its code and tier."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from costing.errors import StandardRefusal, StandardTaken
from costing.models.prices.prices import Tier
from costing.models.rates.fees import Fee
from studio.foundation.errors import Faults, NotFound
from studio.foundation.money import MAX_MONEY
from studio.work.cleaning import take_field_faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True, kw_only=True)
class FeeDescription:
    """A fee from a day on: of the tier with that code, or of all; a share of 1 and a fixed part."""

    code: str
    name: str
    effective_from: date
    tier: str | None = None
    share: Decimal = Decimal(0)
    fixed_per_sale: int = 0


@transaction.atomic
def save_fee(
    described: FeeDescription, *, fee_id: int | None = None, by: "User | None" = None
) -> Fee:
    """Keep a fee: a new one, or in place of what `fee_id` was.

    Fees are selling costs: no cost of stock changes by them (IAS 2 paragraph 16(d)), only floors
    and margins of the tier. Raises StandardRefusal, StandardTaken when the fee starts anew on that
    day already, NotFound for an unknown id.
    """
    row = Fee() if fee_id is None else _locked(fee_id)
    row.code, row.name = described.code, described.name
    row.share, row.fixed_per_sale = described.share, described.fixed_per_sale
    row.effective_from = described.effective_from
    _check(row, described)
    row.revision += 0 if fee_id is None else 1
    row._history_user = by  # type: ignore[attr-defined]
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise StandardTaken(
            f"The fee {described.code} has another start on {described.effective_from} there; "
            "change that one, or start on another day.",
            field="effective_from",
        ) from error
    return row


def _locked(fee_id: int) -> Fee:
    try:
        return Fee.objects.select_for_update().get(pk=fee_id)
    except Fee.DoesNotExist:
        raise NotFound(f"There is no fee with the id {fee_id}.", field="fee") from None


def _check(row: Fee, described: FeeDescription) -> None:
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
