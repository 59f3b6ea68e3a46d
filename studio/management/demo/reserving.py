"""Batches of the invented studio are reserved; what they ask of its maker is accepted once."""

from collections.abc import Callable
from decimal import Decimal

from recipes.errors import WorstNotAccepted
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.batches import ReservedBatch, reserve_batch
from studio.foundation.errors import NotFound


def reserve_and_accept(
    code: str, *, told: Callable[[str], None] = lambda question: None
) -> ReservedBatch:
    """Reserve a batch, and accept its worst superfat where it asks; `told` hears the question."""
    try:
        return reserve_batch(code)
    except WorstNotAccepted as refusal:
        (fault,) = refusal.faults
        told(fault.message)
        return reserve_batch(code, accept_worst=Decimal(fault.details["worst"]))


def batch_exists(code: str) -> bool:
    """Whether an earlier walk left the batch."""
    try:
        batch_by_code(code)
    except NotFound:
        return False
    return True
