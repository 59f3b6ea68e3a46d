"""Holds for the lots of a studio that knew a status alone; called by a migration, once."""

from collections.abc import Iterator
from typing import Any

from inventory.domain.stock.holds import CURING, LONGEST_REASON, TO_CHECK, Cause, state_of, told

#: Of a lot that was blocked as lye-heavy, and of one whose bars still cure.
_LYE = "blocked as lye-heavy"


def holds_from_older(apps: Any, schema_editor: Any = None) -> None:
    """Give each lot the holds that its status stood for; a step of `RunPython`, on its models.

    Needs the lots' columns under their new names, `Hold` and `Recall`, and the batches. Blocked is
    a recall where an open one reaches the lot, lye-heavy where it is of a batch poured below zero,
    else held by hand; quarantine is the cure of bars of a cut batch, else a check on arrival; soap
    that is poured and not cured yet cures. Reasons stay. Who did it is not known: nobody said so.
    """
    lots, holds = apps.get_model("inventory", "Lot"), apps.get_model("inventory", "Hold")
    batches = _batches(apps)
    recalled = _recalled(apps)
    rows = []
    for lot in lots.objects.order_by("pk"):
        found = list(_holds_of(lot, batches.get(lot.pk), recalled.get(lot.pk, ())))
        if not found:
            continue
        for cause, reference, reason in found:
            rows.append(
                holds(
                    lot=lot,
                    cause=cause.value,
                    reference=reference,
                    reason=reason[:LONGEST_REASON],
                    on=lot.received_on,
                    at=lot.created_at,
                )
            )
        state = state_of({cause for cause, _, _ in found}).value
        reason = told((cause, why) for cause, _, why in found)
        lots.objects.filter(pk=lot.pk).update(state=state, state_reason=reason)
    holds.objects.bulk_create(rows, batch_size=2_000)


Held = tuple[Cause, str, str]


def _holds_of(lot: Any, batch: Any, recalls: Any) -> Iterator[Held]:
    """The cause, document and reason of each hold that a lot had without saying so."""
    holder = f"batch:{batch.code}" if batch else ""
    if batch and lot.pk in _curing(batch):
        yield Cause.CURE, holder, CURING
    elif lot.state == "quarantine":
        yield Cause.ARRIVAL, "", lot.state_reason or TO_CHECK
    if lot.state != "blocked":
        return
    for recall in recalls:
        yield Cause.RECALL, f"recall:{recall.code}", f"recall {recall.code}: {recall.reason}"
    lye_heavy = batch and batch.superfat_poured is not None and batch.superfat_poured < 0
    if lye_heavy:
        by_recall = any(lot.state_reason.startswith(f"recall {one.code}:") for one in recalls)
        yield Cause.LYE, holder, _LYE if by_recall else lot.state_reason or _LYE
    if not recalls and not lye_heavy:
        yield Cause.BY_HAND, "", lot.state_reason


def _curing(batch: Any) -> tuple[int, ...]:
    """The lots of a batch that cure: poured soap, and what was cut of it as long as it cures."""
    if batch.state == "poured":
        return (batch.poured_lot_id,)
    if batch.state == "cut" and batch.bar_lot_id is not None:
        return (batch.poured_lot_id, batch.bar_lot_id)
    return ()


def _batches(apps: Any) -> dict[int, Any]:
    """The soap batch of each lot that one made."""
    found: dict[int, Any] = {}
    soap = apps.get_model("recipes", "Batch").objects.exclude(poured_lot=None)
    for batch in soap.order_by("pk"):
        ends = getattr(batch, "cut_record", None)
        for pk in (batch.poured_lot_id, batch.bar_lot_id, ends and ends.ends_lot_id):
            if pk is not None:
                found[pk] = batch
    return found


def _recalled(apps: Any) -> dict[int, list[Any]]:
    """The open recalls that reach each lot, itself or through what went into it."""
    recalls = apps.get_model("inventory", "Recall").objects.filter(lifted_at=None).order_by("pk")
    links = apps.get_model("inventory", "LotLink").objects
    found: dict[int, list[Any]] = {}
    for recall in recalls:
        reached, new = set(), {recall.lot_id}
        while new:
            reached |= new
            made = links.filter(parent__in=new).values_list("child_id", flat=True)
            new = set(made) - reached
        for pk in reached:
            found.setdefault(pk, []).append(recall)
    return found
