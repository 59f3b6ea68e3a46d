"""Recall: block a lot and everything made of it in one action, and lift it again.

Set by set, not lot by lot: a fixed number of statements however many lots were made of it.
"""

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db import connection, transaction
from django.utils import timezone

from inventory.domain.shipping.trace import Direction
from inventory.domain.stock.lots import LotStatus
from inventory.errors import RecallConflict
from inventory.models.shipping.recalls import Recall, RecalledLot
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.among import among
from inventory.queries.shipping.trace import reached
from inventory.services.stock.lot_history import keep_history
from studio.foundation.errors import InvalidInput, NotFound
from studio.work.numbering import next_code

if TYPE_CHECKING:
    from django.contrib.auth.models import User

REASON_LENGTH = 160
AFTER_LIFTING = "made while recalled; release it when it was checked"

_KEEP = """
INSERT INTO inventory_recalledlot (recall_id, lot_id, was_status, was_reason)
SELECT %s, id, status, status_reason FROM inventory_lot WHERE id IN ({ids})
"""
#: Every lot that an open recall reaches, but for one recall.
_STILL = """
WITH RECURSIVE reached(lot_id, recall_id) AS (
    SELECT lot_id, id FROM inventory_recall WHERE lifted_at IS NULL AND id <> %s
    UNION
    SELECT link.child_id, reached.recall_id
    FROM reached JOIN inventory_lotlink link ON link.parent_id = reached.lot_id
)
SELECT lot_id, recall_id FROM reached ORDER BY recall_id
"""
Standing = tuple[str, str]  # a lot's status and its reason


@transaction.atomic
def recall_lot(code: str, reason: str, *, by: "User | None" = None) -> Recall:
    """Block a lot and everything made of it; what each was before is kept for `lift_recall`.

    What is blocked already, for whatever reason, stays as it is. Raises NotFound, InvalidInput
    without a reason, RecallConflict when this lot is recalled already.
    """
    said = _said(reason)
    ids = lock_descendants(code)
    if Recall.objects.filter(lot__code=code, lifted_at__isnull=True).exists():
        raise RecallConflict(f"Lot {code} is recalled already.", field="lot")
    lot = Lot.objects.get(code=code)
    recall = Recall.objects.create(code=next_code("R"), lot=lot, reason=said, by=by)
    _keep_standing(recall, ids)
    open_lots = Lot.objects.filter(pk__in=among(ids)).exclude(status=LotStatus.BLOCKED.value)
    _set_status(
        list(open_lots.order_by().values_list("pk", flat=True)),
        (LotStatus.BLOCKED.value, recall.status_reason),
        because=recall.status_reason,
        by=by,
    )
    return recall


@transaction.atomic
def lift_recall(code: str, reason: str, *, by: "User | None" = None) -> Recall:
    """End a recall: each lot that it still blocks is what it was before.

    A lot that another open recall reaches stays blocked by that one; a lot whose status somebody
    changed since stays as it is; what was made of blocked lots meanwhile goes to quarantine.
    Raises NotFound, InvalidInput without a reason, RecallConflict when it is lifted already.
    """
    said = _said(reason)
    recall = _locked_recall(code)
    ids = lock_descendants(recall.lot.code)
    blocked = Lot.objects.filter(
        pk__in=among(ids), status=LotStatus.BLOCKED.value, status_reason=recall.status_reason
    )
    recall.lifted_at, recall.lifted_reason, recall.lifted_by = timezone.now(), said, by
    recall.save(update_fields=["lifted_at", "lifted_reason", "lifted_by"])
    standing = {
        pk: (status, why)
        for pk, status, why in recall.lots.values_list("lot_id", "was_status", "was_reason")
    }
    standing |= _still_recalled(but_for=recall)
    groups: dict[Standing, list[int]] = defaultdict(list)
    for pk in blocked.order_by().values_list("pk", flat=True):
        groups[standing.get(pk, (LotStatus.QUARANTINE.value, AFTER_LIFTING))].append(pk)
    for after, some in groups.items():
        _set_status(some, after, because=f"recall {recall.code} lifted: {said}", by=by)
    return recall


def lock_descendants(code: str) -> list[int]:
    """Lock a lot and everything made of it, in order of ids; returns the ids. Three queries.

    It looks again until nothing new was made of them: once all are locked, nobody can use them.
    Raises NotFound.
    """
    ids = set(reached(code, Direction.DOWN))
    while True:
        lots = Lot.objects.select_for_update().filter(pk__in=among(ids)).order_by("pk")
        locked = list(lots.values_list("pk", flat=True))
        again = set(reached(code, Direction.DOWN))
        if again <= ids:
            return locked
        ids |= again


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


def _keep_standing(recall: Recall, ids: list[int]) -> None:
    """Keep what each lot is to be again: for one that a recall blocks, what it was before that."""
    others = Recall.objects.filter(lifted_at__isnull=True).exclude(pk=recall.pk)
    reasons = [other.status_reason for other in others]
    listed = among(ids)
    with connection.cursor() as cursor:
        cursor.execute(_KEEP.format(ids=listed.sql), [recall.pk, *listed.params])
    blocked = {"was_status": LotStatus.BLOCKED.value, "was_reason__in": reasons}
    rows = list(recall.lots.filter(**blocked)) if reasons else []
    if not rows:
        return
    earlier = {
        row.lot_id: row
        for row in RecalledLot.objects.filter(
            recall__in=others, lot__in=among(row.lot_id for row in rows)
        )
    }
    for row in rows:
        if row.lot_id in earlier:
            row.was_status = earlier[row.lot_id].was_status
            row.was_reason = earlier[row.lot_id].was_reason
        else:
            row.was_status, row.was_reason = LotStatus.QUARANTINE.value, AFTER_LIFTING
    RecalledLot.objects.bulk_update(rows, ["was_status", "was_reason"])


def _still_recalled(*, but_for: Recall) -> dict[int, Standing]:
    """Lots that other open recalls reach, and what stands on them by one of those. Two queries."""
    others = Recall.objects.filter(lifted_at__isnull=True).exclude(pk=but_for.pk).in_bulk()
    if not others:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(_STILL, [but_for.pk])
        return {
            lot: (LotStatus.BLOCKED.value, others[recall].status_reason)
            for lot, recall in cursor.fetchall()
        }


def _set_status(ids: list[int], after: Standing, *, because: str, by: "User | None") -> None:
    if not ids:
        return
    status, reason = after
    Lot.objects.filter(pk__in=among(ids)).update(status=status, status_reason=reason)
    keep_history(ids, because=because, by=by)
