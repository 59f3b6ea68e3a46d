"""What happened to a batch, step by step, with who did it."""

from dataclasses import dataclass
from datetime import date, datetime

from inventory.domain.stock.ledger import Verb
from inventory.queries.stock.documents import moves_for
from recipes.models.bench.batches import Batch, BatchState, Weighing
from recipes.models.cure.finishing import CureChoice, CureWeighing
from recipes.queries.cure.cure import cut_record_of
from studio.foundation.units.writing import how_many

_HELD = {
    frozenset({Verb.RESERVE.value}): "Lots held",
    frozenset({Verb.RELEASE.value}): "What was held is given back",
    frozenset({Verb.RESERVE.value, Verb.RELEASE.value}): "Other lots held instead",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One step on a day (or at a moment): what happened, and who did it ("" when nobody knows)."""

    on: date | datetime
    what: str
    by: str = ""


def readings_of(batch: Batch) -> list[Weighing]:
    """All readings of a batch in their order, those set aside as well. One query."""
    return list(
        Weighing.objects.filter(line__batch=batch)
        .select_related("line__material", "lot", "by", "set_aside_by")
        .order_by("id")
    )


def making_for(batch: Batch) -> list[Batch]:
    """The batches that are planned for this one, in the order of their days. One query."""
    return list(
        Batch.objects.filter(planned_for=batch)
        .select_related("version__formula__product")
        .order_by("planned_on", "id")
    )


def history_of(batch: Batch, readings: list[Weighing]) -> list[Happening]:
    """The life of a batch from its plan on, the oldest first. Three queries, and those of names."""
    told = [Happening(on=batch.created_at, what="Planned", by=_name(batch.by)), *_held(batch)]
    if readings:
        corrected = sum(1 for one in readings if one.set_aside_at is not None)
        words = f"{how_many(len(readings), 'reading')} weighed"
        if corrected:
            words += f", {corrected} of them set aside"
        people = sorted({_name(one.by) for one in readings} - {""})
        told.append(Happening(on=readings[0].weighed_at, what=words, by=", ".join(people)))
    if batch.poured_on:
        what, by = "Poured" if batch.fats else "Mixed", _name(batch.poured_by)
        told.append(Happening(on=batch.poured_on, what=what, by=by))
    if batch.cut_on:
        record = cut_record_of(batch)
        words = f"Cut into {batch.bars_good} good bars"
        if batch.bars_rejected:
            words += f", {batch.bars_rejected} rejected"
        if record and record.reason:
            words += f": {record.reason}"
        told.append(Happening(on=batch.cut_on, what=words, by=_name(record.by) if record else ""))
        told += _cured(batch)
    if batch.cured_on and batch.fats:
        by = _name(batch.cured_by)
        told.append(Happening(on=batch.cured_on, what="Bars released", by=by))
    if batch.state == BatchState.CANCELLED:  # nothing is changed of it afterwards
        by = _name(batch.changed_by)
        told.append(Happening(on=batch.updated_at, what="Called off", by=by))
    return sorted(told, key=lambda one: _day(one.on))


def _held(batch: Batch) -> list[Happening]:
    """When lots were held, given back, or others held instead. One query."""
    return [
        Happening(on=move.at, what=_HELD[move.verbs], by=_name(move.by))
        for move in moves_for(batch.holder)
        if move.verbs in _HELD
    ]


def _cured(batch: Batch) -> list[Happening]:
    told: dict[date, Happening] = {}
    weighings = CureWeighing.objects.filter(batch=batch).select_related("by").order_by("on", "id")
    bars: dict[date, int] = {}
    for one in weighings:
        bars[one.on] = bars.get(one.on, 0) + 1
        count = bars[one.on]
        words = f"{how_many(count, 'sample bar')} weighed"
        told[one.on] = Happening(on=one.on, what=words, by=_name(one.by))
    choices = CureChoice.objects.filter(batch=batch).select_related("by").order_by("id")
    return [*told.values(), *(_chosen(choice) for choice in choices)]


def _chosen(choice: CureChoice) -> Happening:
    words = f"{choice.get_kind_display()}: {choice.ready_on} instead of {choice.due_on}"
    if choice.reason:
        words += f" ({choice.reason})"
    return Happening(on=choice.at, what=words, by=_name(choice.by))


def _day(on: date | datetime) -> date:
    return on.date() if isinstance(on, datetime) else on


def _name(user: object) -> str:
    return str(user) if user else ""
