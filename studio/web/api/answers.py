"""Answers whose fields follow from the type hints of what they show, so that they cannot drift.

    class MoldCostSerializer(AnswerSerializer):
        '''A batch in a mold.'''
        shows = MoldCost                                     # a frozen dataclass, or a model
        says = ("mold", "bars", "costing.cost.total", "costing.on as priced_on", "saving")

`says` lists the fields in their order, by the path from what is shown; the last name of a path is
the field's, unless `as` gives another. Without it every field of the dataclass is said. A field
that the class declares stands as it is, at its place in `says`, else at the end.

Hints tell the rest: those of `studio.foundation.hints` what a plain number is, a name that ends in
`_ng`, `_nl` or `_nm` a quantity (it loses that ending), `X | None` what may be null, lists and
mappings what they hold; what an AnswerSerializer shows is told by it, a column by its model.
"""

import copy
import types
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from enum import Enum
from functools import cache
from typing import Annotated, Any, ClassVar, Union, get_args, get_origin

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import models
from rest_framework import serializers

from studio.foundation.hints import Mark, Stock
from studio.foundation.model_fields import StockField
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer, exact_field
from studio.web.serializer_fields.numbers import MoneyField, ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField, StockAmountField

Field = serializers.Field[Any, Any, Any, Any]
PLAIN: Mapping[Any, type[Field]] = {
    str: serializers.CharField,
    bool: serializers.BooleanField,
    int: serializers.IntegerField,
    datetime: serializers.DateTimeField,
    date: serializers.DateField,
}
UNITS = {"_ng": "g", "_nl": "mL", "_nm": "mm"}
#: What is told of a column beside its kind: no bounds, which are those of what is written.
OF_COLUMNS = frozenset({"choices", "allow_blank", "label", "help_text"})
SEVERAL = (list, tuple, Sequence, Iterable, Collection)
#: The one serializer of a type; None where there are several, so that one must be declared.
_SHOWN_BY: dict[Any, type["AnswerSerializer"] | None] = {}


class AnswerSerializer(StrictSerializer):
    """An answer that shows a value of the type `shows`; see above."""

    shows: ClassVar[Any]
    says: ClassVar[tuple[str, ...]] = ()
    #: The path to what says whether an amount of stock is pieces.
    counted: ClassVar[str] = "counted"

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        if "shows" in vars(cls):
            _SHOWN_BY[cls.shows] = None if cls.shows in _SHOWN_BY else cls

    def get_fields(self) -> dict[str, Field]:
        declared = super().get_fields()
        derived = copy.deepcopy(_derived(type(self)))
        said = {n: declared[n] if field is None else field for n, field in derived.items()}
        return {**said, **declared}


@cache
def _derived(cls: type[AnswerSerializer]) -> dict[str, Field | None]:
    """The fields that a serializer says, in order; None where it declares them itself."""
    found: dict[str, Field | None] = {}
    for each in cls.says or [field.name for field in fields(cls.shows)]:
        path, _, name = each.partition(" as ")
        name = name or path.rpartition(".")[2]
        if " as " not in each and name[-3:] in UNITS:
            name = name[:-3]
        declared = name in cls._declared_fields
        found[name] = None if declared else _field(cls, path, name)
    return found


def _field(cls: type[AnswerSerializer], path: str, name: str) -> Field:
    hint, lacking = cls.shows, False
    for step in path.split("."):
        hint, lacks = _bare(_hint(hint, step))
        lacking = lacking or lacks
    given: dict[str, Any] = {"allow_null": True} if lacking else {}
    if name != path:
        given["source"] = path
    if isinstance(hint, StockField):
        hint = Stock
    if isinstance(hint, models.Field):
        kind, known = _column(hint, own="." not in path)
        return kind(**known, **given)
    if hint is int and path[-3:] in UNITS:
        return BaseQuantityField(unit=UNITS[path[-3:]], **given)
    return _told(hint, cls.counted, given)


def _hint(owner: Any, name: str) -> Any:
    """What the hints of a type, or the columns of a row, say of one attribute."""
    if isinstance(owner, str):  # a model that only type checkers import
        owner = next(model for model in apps.get_models() if model.__name__ == owner)
    if issubclass(owner, models.Model):
        try:
            column: Any = owner._meta.get_field(name)
        except FieldDoesNotExist:
            pass
        else:
            if not column.is_relation:
                return column
            if column.one_to_many or column.many_to_many:
                return list[column.related_model]
            return column.related_model | None if column.null else column.related_model
    for each in owner.__mro__:
        if name in vars(each).get("__annotations__", {}):
            return each.__annotations__[name]
        made = vars(each).get(name)
        made = getattr(made, "fget", None) or getattr(made, "func", None)
        if made is not None:
            return made.__annotations__["return"]
    raise TypeError(f"{owner.__name__} does not say what its {name} is")


def _bare(hint: Any) -> tuple[Any, bool]:
    """A hint without its None, and whether that was in it."""
    if isinstance(hint, models.Field):
        return hint, hint.null
    if isinstance(hint, str):
        bare = hint.removesuffix(" | None")
        return bare, bare != hint
    if get_origin(hint) not in (Union, types.UnionType):
        return hint, False
    return next(part for part in get_args(hint) if part is not types.NoneType), True


def _column(column: Any, *, own: bool) -> tuple[type[Field], dict[str, Any]]:
    """The field of a column; of another row than the one that is shown, without its bounds."""
    if exact := exact_field(column):
        return exact
    kind, known = StrictModelSerializer().build_standard_field(column.name, column)
    if own:
        return kind, {name: value for name, value in known.items() if name in OF_COLUMNS}
    is_text = issubclass(kind, (serializers.CharField, serializers.ChoiceField))
    return (serializers.CharField if is_text else kind), {}


def _told(hint: Any, counted: str, given: dict[str, Any]) -> Field:
    """The field that shows what such a hint says."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Annotated:
        field = _marked(inner[1], counted, given)
    elif origin in SEVERAL:
        each, lacking = _bare(inner[0])
        if kind := _SHOWN_BY.get(each):
            return kind(many=True, **given)
        child = _told(each, counted, {"allow_null": True} if lacking else {})
        field = serializers.ListField(child=child, **given)
    elif origin in (dict, Mapping):
        each, lacking = _bare(inner[1])
        child = _told(each, counted, {"allow_null": True} if lacking else {})
        field = serializers.DictField(child=child, **given)
    elif shown := _SHOWN_BY.get(hint) or PLAIN.get(hint):
        field = shown(**given)
    elif isinstance(hint, type) and issubclass(hint, Enum):
        field = serializers.ChoiceField(choices=[(e.value, e.value) for e in hint], **given)
    else:
        raise TypeError(f"No field shows {hint}: declare one.")
    return field


def _marked(mark: Mark, counted: str, given: dict[str, Any]) -> Field:
    match mark:
        case Mark.MONEY:
            return MoneyField(allow_negative=True, **given)
        case Mark.SHARE:
            return ShownShareField(**given)
        case Mark.STOCK:
            return StockAmountField(counted=counted, **given)
    return BaseQuantityField(unit=mark.value, **given)
