"""What a record was before, who changed it and why: the rows kept of it, and the same in words.

A model with `history = Records()` keeps a row with each change. People read the columns that its
fields describe (`said`), one edit for each row; what stands in other tables is told with it.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from django.db import models
from django.db.models import Max, QuerySet
from simple_history.models import HistoricalRecords
from simple_history.signals import pre_create_historical_record

from studio.foundation import model_fields as fields
from studio.foundation.doers import because, doer
from studio.foundation.local_words import exact_money
from studio.foundation.model_fields import described, said_of
from studio.foundation.units.writing import (
    System,
    format_amount,
    friendly_mass,
    friendly_volume,
    how_many,
    percent,
)

#: Something that changed and is no column of the record: what it is, what it was, what it is now.
Told = tuple[str, str, str]
#: In this order rows of a history are listed.
NEWEST_FIRST: Final = ("-history_id",)
NOT_NOTED: Final = "not noted"
#: Decimals of a percent, more than any share is kept with.
_PLACES = 10


class Recorded(models.Model):
    """What a row of a history holds beside the record's own columns."""

    told = models.JSONField(null=True, help_text="Changes beyond its columns, in words.")

    class Meta:
        abstract = True


class Records(HistoricalRecords):  # type: ignore[misc]
    """The history of a model: each row names who did it, and why where a verb has a reason."""

    excluded_fields: list[str]

    def __init__(self, *, leave_out: Sequence[str] = ()) -> None:
        left_out = ["changed_by", "created_at", "updated_at", *leave_out]
        super().__init__(
            bases=(Recorded,),
            excluded_fields=left_out,
            history_change_reason_field=models.TextField(null=True),
        )

    def get_history_user(self, instance: models.Model) -> Any:
        """Whom the service named, else who acts."""
        return getattr(instance, "_history_user", None) or doer()

    def get_change_reason_for_object(
        self, instance: models.Model, history_type: str, using: str | None
    ) -> str | None:
        """What the verb was given as its reason, else why as a whole."""
        return getattr(instance, "_change_reason", None) or because() or None

    def create_history_model(self, model: Any, inherited: bool) -> Any:
        """Not every model has all that is left out as a rule."""
        there = {field.name for field in model._meta.fields}
        self.excluded_fields = [name for name in self.excluded_fields if name in there]
        return super().create_history_model(model, inherited)

    def create_historical_record(
        self, instance: models.Model, history_type: str, using: str | None = None
    ) -> None:
        """As the library does, with what `tell` said; said once, it is not said again."""
        super().create_historical_record(instance, history_type, using)
        for name in ("_told", "_change_reason"):
            instance.__dict__.pop(name, None)


def tell(row: models.Model, *, told: Iterable[Told] = (), reason: str = "") -> None:
    """Have the next change of this row tell why, and what changed in other tables."""
    row._told = [list(each) for each in told] or None  # type: ignore[attr-defined]
    row._change_reason = reason or None  # type: ignore[attr-defined]


def keep_told(instance: models.Model, history_instance: Any, **_: Any) -> None:
    """Receiver of the library's signal before a row of a history is stored."""
    if isinstance(history_instance, Recorded):
        history_instance.told = getattr(instance, "_told", None)


pre_create_historical_record.connect(keep_told, dispatch_uid="studio.told")


@dataclass(frozen=True, slots=True)
class Change:
    """One value as it was and as it is, in words; empty for nothing."""

    field: str
    label: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One change of a record: when, by whom, why, and what was before. `row` is how it stood."""

    at: datetime
    by: str
    is_first: bool
    reason: str
    changes: tuple[Change, ...]
    row: Any


def kept_rows(model: Any, **found: Any) -> "QuerySet[Any]":
    """The rows of the histories of some records, the newest first, read with what they name."""
    rows = model.history.filter(**found)
    related = [name for name in described(model) if model._meta.get_field(name).is_relation]
    return rows.select_related("history_user", *related).order_by(*NEWEST_FIRST)  # type: ignore[no-any-return]


def edits(rows: Sequence[Any], *, costs: bool, system: System = "metric") -> list[Edit]:
    """Some rows of `kept_rows` that follow each other, as edits. One query; none for no rows.

    Costs (`costs` of the model) are left out for those who may not see them. Amounts are in the
    units of the `system`; where that rounds a difference away, exact.
    """
    if not rows:
        return []
    model = rows[0].instance_type
    writer = _Writer(model, system, costs=costs)
    before: dict[Any, Any] = {row.id: row for row in _older(rows)}
    found: list[Edit] = []
    for row in reversed(rows):
        was = before.get(row.id)
        found.append(
            Edit(
                at=row.history_date,
                by=row.history_user.get_username() if row.history_user else NOT_NOTED,
                is_first=row.history_type == "+",
                reason=row.history_change_reason or "",
                changes=writer.changes(was, row),
                row=row,
            )
        )
        before[row.id] = row
    return found[::-1]


def in_words(was: models.Model, row: models.Model, *, among: Collection[str]) -> str:
    """What differs in these fields between a record as it was and as it is, in one sentence."""
    writer = _Writer(type(row), "metric", costs=False)
    return "; ".join(
        f"{each.label}: {each.before or 'not stated'}, now {each.after or 'not stated'}"
        for each in writer.changes(was, row)
        if each.field in among
    )


def _older(rows: Sequence[Any]) -> "QuerySet[Any]":
    """Of each record the row before those given."""
    model, first = rows[0].instance_type, min(row.history_id for row in rows)
    older = model.history.filter(id__in={row.id for row in rows}, history_id__lt=first)
    last = older.order_by().values("id").annotate(last=Max("history_id")).values("last")
    return kept_rows(model, history_id__in=last)


class _Writer:
    """Puts the described values of one model's rows into words."""

    def __init__(self, model: Any, system: System, *, costs: bool) -> None:
        hidden = () if costs else getattr(model, "costs", ())
        names = [name for name in described(model) if name not in hidden]
        self._fields = [model._meta.get_field(name) for name in names]
        self._system = system

    def changes(self, was: Any, row: Any) -> tuple[Change, ...]:
        """What differs, first the record's own values."""
        if was is None and row.history_type != "+":
            own: list[Change] = []  # older than what was kept: what was before is not known
        else:
            own = [each for field in self._fields if (each := self._change(field, was, row))]
        return (*own, *(Change("", *each) for each in getattr(row, "told", None) or ()))

    def _change(self, field: Any, was: Any, row: Any) -> Change | None:
        before = getattr(was, field.attname) if was is not None else None
        after = getattr(row, field.attname)
        if before == after or (was is None and after in (None, "", False)):
            return None
        words = [self._words(field, each) if each is not None else "" for each in (was, row)]
        if words[0] == words[1]:
            words = [self._words(field, each, exact=True) if each else "" for each in (was, row)]
        return Change(field.name, label_of(field), words[0], words[1])

    def _words(self, field: Any, row: Any, *, exact: bool = False) -> str:
        value = getattr(row, field.name)
        write = said_of(field).write
        if value is None or value == "":
            return ""
        if write is not None:
            return write(value)
        if isinstance(field, fields.StockField):
            return self._stock(value, counted=_is_counted(row), exact=exact)
        return _plain(field, value, self._system, exact=exact)

    def _stock(self, value: int, *, counted: bool, exact: bool) -> str:
        if counted:
            return how_many(value, "piece")
        return _mass(value, self._system, exact=exact)


def _is_counted(row: Any) -> bool:
    owner = row if hasattr(row, "counted") else row.material
    return bool(owner.counted)


def _mass(ng: int, system: System, *, exact: bool) -> str:
    return f"{format_amount(ng, 'g')} g" if exact else friendly_mass(ng, system=system)


def _plain(field: Any, value: Any, system: System, *, exact: bool) -> str:
    match field:
        case fields.MoneyField():
            words = exact_money(value)
        case fields.MassField():
            words = _mass(value, system, exact=exact)
        case fields.VolumeField() if not exact:
            words = friendly_volume(value, system=system)
        case fields.MeasureField():
            words = f"{format_amount(value, field.unit)} {field.unit}"
        case fields.ShareField():
            words = percent(value, _PLACES)
        case _:
            words = _of_itself(dict(field.flatchoices).get(value, value))
    return words


def _of_itself(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def label_of(field: Any) -> str:
    """What a field is called by itself: one whose label leans on its neighbor, by its meaning."""
    words = said_of(field)
    if not words.label[:1].islower():
        return words.label
    meaning = f"{words.meaning[:1].upper()}{words.meaning[1:]}"
    return f"{meaning}, {words.unit.removeprefix('in ')}" if words.unit else meaning
