"""Planners say what they will need and make, with dates, without the shelf knowing why."""

from collections.abc import Mapping
from datetime import date

from django.db import transaction

from inventory.models.buying.requirements import ExpectedMake, Requirement


@transaction.atomic
def require(needs: Mapping[int, int], *, holder: str, due_on: date) -> None:
    """Replace all that `holder` requires by `needs` (material id -> stock units). Two queries."""
    Requirement.objects.filter(holder=holder).delete()
    Requirement.objects.bulk_create(
        Requirement(holder=holder, material_id=material, due_on=due_on, amount=amount)
        for material, amount in needs.items()
        if amount > 0
    )


@transaction.atomic
def expect(
    makes: Mapping[int, int],
    *,
    holder: str,
    due_on: date,
    days_to_make: int = 0,
    lot_id: int | None = None,
) -> None:
    """Replace all that `holder` will make by `makes` (material id -> stock units). Two queries.

    `days_to_make` and the lot that stands of it already are told as `ExpectedMake` says.
    """
    ExpectedMake.objects.filter(holder=holder).delete()
    ExpectedMake.objects.bulk_create(
        ExpectedMake(
            holder=holder,
            material_id=material,
            due_on=due_on,
            amount=amount,
            days_to_make=days_to_make,
            lot_id=lot_id,
        )
        for material, amount in makes.items()
        if amount > 0
    )


def withdraw(holder: str) -> None:
    """Forget what `holder` required: it was used, or is not wanted any more. One query."""
    Requirement.objects.filter(holder=holder).delete()


def withdraw_makes(holder: str) -> None:
    """Forget what `holder` would make: it is there, or will never be. One query."""
    ExpectedMake.objects.filter(holder=holder).delete()
