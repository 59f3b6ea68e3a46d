"""Tags of pages: fields, hidden keys, and numbers as the reader likes them.

`{% load studio_pages %}`; what each needs is in the docstring of `studio.web.pages`.
"""

import uuid
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import template
from django.forms import BaseForm, BoundField, CheckboxInput, CheckboxSelectMultiple, RadioSelect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.http import urlencode
from django.utils.safestring import SafeString

from studio.foundation import local_words
from studio.foundation.units import writing as units_writing
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import MoneyFormField, QuantityFormField, ShareFormField
from studio.web.pages import writing

register = template.Library()
Context = Mapping[str, Any]

#: Which reader a quantity field's dimensions ask for; several kinds are read as stock.
_SINGLE: dict[tuple[Dimension, ...], str] = {
    (Dimension.MASS,): "mass",
    (Dimension.VOLUME,): "volume",
    (Dimension.COUNT,): "count",
    (Dimension.LENGTH,): "length",
    (Dimension.TEMPERATURE,): "temperature",
}


def _reader(field: Any) -> str:
    if isinstance(field, MoneyFormField):
        return "money"
    if isinstance(field, ShareFormField):
        return "share"
    if isinstance(field, QuantityFormField):
        return _SINGLE.get(tuple(field.dimensions), "stock")
    return ""


@register.simple_tag
def rest(form: BaseForm) -> str:
    """The fields that the template did not place so far: what a model got later is there, too."""
    left = [name for name in form.fields if name not in form.__dict__.get("placed", ())]
    parts = (render_to_string("studio/parts/_field.html", field(form[name])) for name in left)
    return format_html_join("", "{}", ((part,) for part in parts))


@register.inclusion_tag("studio/parts/_field.html")
def field(
    bound: BoundField,
    echo: str | None = None,
    density: str = "",
    bare: bool = False,
    filter: bool = False,
) -> dict[str, Any]:
    """A form's field: label, help, control, what it read, errors.

    `echo` names a reader of `studio.web.pages.reading` ("mass", "volume", "count", "length",
    "temperature", "stock", "money", "share"; "" for none); quantity, money and share fields know
    theirs. `density` (g/mL) weighs a volume. `bare` hides the label from sight (in tables);
    a `filter` says nothing of fields that may stay empty.
    """
    bound.form.__dict__.setdefault("placed", set()).add(bound.name)
    reader = _reader(bound.field) if echo is None else echo
    name = bound.auto_id or bound.html_name
    attributes = _told(bound, name, reader)
    if reader:
        attributes |= _echo(bound, name, reader, density)
    widget = bound.field.widget
    may_be_empty = isinstance(widget, CheckboxInput | CheckboxSelectMultiple)
    # In a row that may stay empty the browser must not insist on a part of it.
    may_be_empty |= getattr(bound.form, "empty_permitted", False)
    if bound.field.required and not may_be_empty:
        attributes["required"] = True
    return {
        "bound": bound,
        "name": name,
        "control": bound.as_widget(attrs=attributes),
        "reader": reader,
        "bare": bare,
        "filter": filter,
        "is_tick": isinstance(widget, CheckboxInput),
        "is_group": isinstance(widget, RadioSelect | CheckboxSelectMultiple),
    }


def _told(bound: BoundField, name: str, reader: str) -> dict[str, Any]:
    """What tells those who hear the page of help, echo and errors."""
    parts = {"help": bound.help_text, "read": reader, "error": bound.errors}
    described = [f"{name}-{part}" for part, there in parts.items() if there]
    told: dict[str, Any] = {"aria-describedby": " ".join(described)} if described else {}
    return told | ({"aria-invalid": "true"} if bound.errors else {})


def _echo(bound: BoundField, name: str, reader: str, density: str) -> dict[str, Any]:
    """What asks for the words under the field while somebody types."""
    asked = {"as": reader, "of": bound.html_name} | ({"density": density} if density else {})
    return {
        "hx-get": f"{reverse('read-quantity')}?{urlencode(asked)}",
        "hx-trigger": "input changed delay:300ms, change",
        "hx-target": f"#{name}-read",
        "hx-sync": "this:replace",
        # What a form around it says of its own answers is not meant for this one.
        "hx-swap": "innerHTML",
        "hx-select": "unset",
        "hx-push-url": "false",
        "autocomplete": "off",
    }


@register.inclusion_tag("studio/parts/_summary.html")
def summary(*forms: Any) -> dict[str, Any]:
    """What is wrong in these forms and belongs to no single field; how many fields are marked."""
    general = [error for form in forms for error in _general(form)]
    marked = sum(_marked(form) for form in forms)
    return {"general": general, "marked": marked}


def _general(form: Any) -> list[str]:
    if hasattr(form, "forms"):
        inner = [error for row in form.forms for error in row.non_field_errors()]
        return [*form.non_form_errors(), *inner] if form.is_bound else []
    return list(form.non_field_errors()) if form.is_bound else []


def _marked(form: Any) -> int:
    if hasattr(form, "forms"):
        return sum(_marked(row) for row in form.forms)
    return len([name for name in form.errors if name != "__all__"]) if form.is_bound else 0


@register.simple_tag
def once() -> SafeString:
    """The hidden key by which a form that changes stock does so once."""
    return format_html('<input type="hidden" name="once" value="{}">', uuid.uuid4())


@register.simple_tag(takes_context=True)
def revision(context: Context, row: Any) -> SafeString:
    """The hidden revision of the row that a form was opened with, and who saved it last."""
    hidden = format_html('<input type="hidden" name="revision" value="{}">', row.revision)
    return hidden + saved(context, row)


@register.simple_tag(takes_context=True)
def saved(context: Context, row: Any) -> SafeString:
    """When a record was saved last, and by whom; nothing where that was not noted."""
    if getattr(row, "changed_by_id", None) is None:
        return SafeString("")
    on = day(context, row.updated_at)
    return format_html('<p class="quiet">Last saved {} by {}.</p>', on, row.changed_by)


def _units(context: Context) -> str:
    return str(context["preferences"].units) if "preferences" in context else "metric"


def _two(first: str, second: str) -> SafeString:
    return format_html('<span class="amount">{} <small>{}</small></span>', first, second)


@register.simple_tag(takes_context=True)
def mass(context: Context, ng: int | None, both: bool = True) -> str:
    """Nanograms: the reader's unit, the other small beside it."""
    if ng is None:
        return ""
    first, second = writing.written_mass(ng, _units(context))
    return _two(first, second) if both and second != first else first


@register.simple_tag(takes_context=True)
def volume(context: Context, nl: int | None, both: bool = True) -> str:
    """Nanoliters: the reader's unit, the other small beside it."""
    if nl is None:
        return ""
    first, second = writing.written_volume(nl, _units(context))
    return _two(first, second) if both else first


@register.simple_tag(takes_context=True)
def stock(context: Context, amount: int | None, counted: bool = False, both: bool = True) -> str:
    """What the ledger keeps: nanograms, or pieces when it is `counted`."""
    if amount is None:
        return ""
    return units_writing.how_many(amount, "piece") if counted else mass(context, amount, both)


@register.simple_tag(takes_context=True)
def day(context: Context, value: date | None) -> str:
    """A day as the reader likes it, in a <time> element."""
    if value is None:
        return ""
    dates = str(context["preferences"].dates) if "preferences" in context else "iso"
    iso = writing.written_day(value, "iso")
    return format_html('<time datetime="{}">{}</time>', iso, writing.written_day(value, dates))


@register.filter
def money(value: int | None) -> str:
    """Ten-thousandths in the studio's currency, rounded to its coins."""
    return "" if value is None else local_words.written_money(value)


@register.filter
def known_money(value: int | None) -> str:
    """The same, and in words where it is not known."""
    return "not known" if value is None else local_words.written_money(value)


@register.filter
def exact_money(value: int | None) -> str:
    """Ten-thousandths in the studio's currency, to the last digit (a price per gram)."""
    return "" if value is None else local_words.exact_money(value)


@register.filter
def percent(value: Decimal | None, places: int = 2) -> str:
    """A share (0.05) in percent."""
    return "" if value is None else units_writing.percent(value, places)


@register.filter
def state(word: str, kind: str = "") -> SafeString:
    """A state as word, shape and color; `kind` is "good", "soon", "danger" or empty."""
    known = kind if kind in {"good", "soon", "danger"} else "plain"
    return format_html('<span class="state {}">{}</span>', known, word)


@register.filter
def may(able: Any, capability: str) -> bool:
    """Whether a capability (by its value: "keep_stock") is among those of the reader."""
    return capability in able


@register.inclusion_tag("studio/parts/_filters.html", takes_context=True)
def list_filters(context: Context, page: Any, label: str = "Find") -> dict[str, Any]:
    """The filter form of a list: filters while somebody types, keeps its values in the address."""
    return {"page": page, "label": label, "path": context["request"].path}


@register.inclusion_tag("studio/parts/_pager.html", takes_context=True)
def pager(context: Context, page: Any) -> dict[str, Any]:
    """Earlier and later rows of a list."""
    return {"page": page, "path": context["request"].path}


@register.inclusion_tag("studio/parts/_chart.html")
def chart(drawn: Any) -> dict[str, Any]:
    """A drawing of `studio.foundation.drawing`, with its numbers as a table behind a disclosure."""
    return {"chart": drawn}
