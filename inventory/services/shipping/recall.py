"""Recall: hold a lot and everything made of it in one action, and lift that again."""

from django.db import transaction
from django.utils import timezone

from inventory.domain.stock.holds import Cause, NewHold
from inventory.errors import RecallConflict
from inventory.models.shipping.recalls import LONGEST_RECALL, Recall
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import made_of_these
from inventory.services.stock.holds import hold, lift, lock_while_growing
from studio.foundation.doers import By
from studio.foundation.errors import InvalidInput, NotFound
from studio.work.numbering import next_code

REASON_LENGTH = LONGEST_RECALL


@transaction.atomic
def recall_lot(code: str, reason: str, *, by: By = None) -> Recall:
    """Hold a lot and everything made of it, besides what holds them already.

    What is made of them later is held, too. Raises NotFound, InvalidInput without a reason,
    RecallConflict when this lot is recalled already.
    """
    said = _said(reason)
    lot = Lot.objects.filter(code=code).first()
    if lot is None:
        raise NotFound(f"There is no lot {code}.", field="lot")
    lock_while_growing(made_of_these, {lot.pk})
    if Recall.objects.filter(lot=lot, lifted_at__isnull=True).exists():
        raise RecallConflict(f"Lot {code} is recalled already.", field="lot")
    recall = Recall.objects.create(code=next_code("R"), lot=lot, reason=said, by=by)
    new = NewHold(cause=Cause.RECALL, reason=recall.hold_reason, reference=recall.document)
    hold([lot.pk], new, on=timezone.localdate(), by=by)
    return recall


@transaction.atomic
def lift_recall(code: str, reason: str, *, by: By = None) -> Recall:
    """End a recall: its holds are lifted, those of other causes and other recalls stay.

    Raises NotFound, InvalidInput without a reason, RecallConflict when it is lifted already.
    """
    said = _said(reason)
    recall = _locked_recall(code)
    recall.lifted_at, recall.lifted_reason, recall.lifted_by = timezone.now(), said, by
    recall.save(update_fields=["lifted_at", "lifted_reason", "lifted_by"])
    lift(
        Cause.RECALL,
        recall.document,
        on=timezone.localdate(),
        reason=f"recall {recall.code} lifted: {said}",
        by=by,
    )
    return recall


def _said(reason: str) -> str:
    said = reason.strip()
    if not said:
        raise InvalidInput("Say why.", field="reason")
    if len(said) > REASON_LENGTH:
        raise InvalidInput(f"At most {REASON_LENGTH} characters.", field="reason")
    return said


def _locked_recall(code: str) -> Recall:
    try:
        recall = Recall.objects.select_for_update(of=("self",)).select_related("lot").get(code=code)
    except Recall.DoesNotExist:
        raise NotFound(f"There is no recall {code}.", field="recall") from None
    if recall.lifted_at is not None:
        raise RecallConflict(f"Recall {code} is lifted already.", field="recall")
    return recall
