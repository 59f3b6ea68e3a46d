"""The columns and rows of a table that goes in and out, from the fields of its model."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, TypeVar

from django.conf import settings
from django.db import models

from studio.foundation import model_fields as fields
from studio.foundation.model_fields import described, said_of
from studio.foundation.roles import Capability
from studio.foundation.tables import kinds
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.units.registry import Dimension
from studio.models import Revised
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require
from studio.work.keeping import changed

Kept = TypeVar("Kept", bound=Revised)
STOCKED = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)


def columns_of(model: type[Revised], names: Iterable[str]) -> tuple[Column, ...]:
    """A column for each field: what it holds, needs and means is what the field says of itself."""
    costs = getattr(model, "costs", ())
    return tuple(_column(model._meta.get_field(name), cost=name in costs) for name in names)


def _column(field: Any, *, cost: bool) -> Column:
    words = said_of(field)
    needed = not field.blank and not field.has_default()
    return Column(
        field.name,
        _kind(field),
        words.meaning,
        words.example,
        needed=needed,
        empty=None if field.choices and needed else field.get_default(),
        cost=cost,
    )


def _kind(field: Any) -> kinds.Kind:
    """How people write what a field holds."""
    unit, (low, high) = said_of(field).unit, bounds_of(field)
    kind: kinds.Kind = kinds.Text(field.max_length)
    match field:
        case fields.MoneyField():
            kind = kinds.Money(settings.STUDIO_CURRENCY)
        case fields.MeasureField():
            kind = kinds.Measure(field.unit, field.written)
        case fields.StockField():
            kind = kinds.Amount(STOCKED, "7 lb 8 oz")
        case fields.FixedPointField():
            percent = isinstance(field, fields.ShareField)
            unit = unit or "a share of 1"
            kind = kinds.Number(places=field.places, unit=unit, below_zero=low < 0, percent=percent)
        case fields.CodeField():
            kind = kinds.Code(field.max_length or 0)
        case models.BooleanField():
            kind = kinds.YesNo()
        case models.IntegerField():
            kind = kinds.Whole(int(low), int(high), unit)
        case models.CharField() if field.choices:
            kind = kinds.Choice(tuple(value for value, _ in field.choices if value))
    return kind


def bounds_of(field: Any) -> tuple[Any, Any]:
    """The least and the most that a field's own rule allows; 0 and 2 147 483 647 without one."""
    for rule in field.validators:
        if isinstance(rule, fields.Between):
            return rule.low, rule.high
    return 0, 2**31 - 1


def take_row(
    model: type[Kept],
    layout: Layout,
    rows: Sequence[Row],
    taking: Taking,
    *,
    save: Callable[..., Any],
) -> Outcome:
    """Keep the one row of a code through its service, as the row says."""
    (row,) = rows
    kept = model._default_manager.filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(row.values["code"], taking)
    require(row, layout, taking, new=kept is None)
    if kept is not None and is_already(kept, row.values):
        return Outcome.UNCHANGED
    save(changed(kept or model(), row.values), tuple(row.values), by=taking.by)
    return Outcome.CREATED if kept is None else Outcome.CHANGED


def is_already(row: Revised, values: Mapping[str, Any]) -> bool:
    """Whether a row has these values."""
    return all(getattr(row, name) == value for name, value in values.items())


def rows_of(model: type[Kept], layout: Layout) -> Iterator[Mapping[str, Any]]:
    """All rows as values by column. One query."""
    for row in model._default_manager.order_by("code"):
        yield {column.name: getattr(row, column.name) for column in layout.columns}


def described_table(
    model: type[Kept], *, name: str, needed: Capability, save: Callable[..., Any]
) -> ExchangeTable:
    """The table of all that a model describes, each row kept by the service `save`."""
    layout = Layout(columns_of(model, described(model)))
    return ExchangeTable(
        name=name,
        title=name.capitalize(),
        layout=layout,
        needed=needed,
        rows=partial(rows_of, model, layout),
        take=partial(take_row, model, layout, save=save),
    )
