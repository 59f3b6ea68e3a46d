"""Forms of pages: what a service refuses stands beside the field, and nothing typed is lost."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, Protocol, TypeVar

from django.contrib import messages
from django.forms import BaseForm, BaseFormSet, Form
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django_htmx.http import HttpResponseClientRedirect

from studio.foundation.errors import Fault, Refusal
from studio.foundation.registry import Registry
from studio.models import ChangedMeanwhile


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """Where a fault's cause is mended: the words of the link, and its address; "" for none."""

    code: str
    words: str
    address: Callable[[Fault], str]


WAYS = Registry[Way](name=attrgetter("code"))


def told_with_way(fault: Fault) -> str:
    """The fault's message, with a link to where it is mended if such a place is known."""
    way = WAYS.get(fault.code)
    address = way.address(fault) if way else ""
    if not way or not address:
        return fault.message
    return format_html('{} <a href="{}">{}</a>', fault.message, address, way.words)


Rows = Mapping[str, "BaseFormSet[Any]"]
NO_NAMES: Mapping[str, str] = {}


def unchanged_since(request: HttpRequest) -> Callable[[Any], None]:
    """What a service asks of the row that it locked: raises ChangedMeanwhile unless its revision is
    the form's hidden `revision`.
    """

    def unchanged(row: Any) -> None:
        if request.POST.get("revision") != str(row.revision):
            raise ChangedMeanwhile(ChangedMeanwhile.told)

    return unchanged


def place_faults(
    refusal: Refusal,
    form: BaseForm,
    *,
    rows: Rows | None = None,
    names: Mapping[str, str] = NO_NAMES,
) -> None:
    """Put each fault of a refusal where it belongs.

    A fault's path is the form's field ("supplier"), or a row of a formset in `rows`
    ("lines.2.quantity", counted over the rows that were filled in, as `filled` gives them).
    `names` renames paths that the service calls otherwise ("lot_code" -> "lot"). A fault without
    a field here joins the summary above the form.
    """
    for fault in refusal.faults:
        path = names.get(fault.field, fault.field)
        if not _placed_in_row(path, fault, rows or {}, names):
            _place(path, fault, form)


def _placed_in_row(path: str, fault: Fault, rows: Rows, names: Mapping[str, str]) -> bool:
    first, _, rest = path.partition(".")
    number, _, field = rest.partition(".")
    if first not in rows or not number.isdecimal():
        return False
    taken = [form for form in rows[first].forms if _is_filled(form)]
    if int(number) >= len(taken):
        return False
    _place(names.get(field, field), fault, taken[int(number)])
    return True


def _place(path: str, fault: Fault, form: BaseForm) -> None:
    name = path.partition(".")[0]
    form.add_error(name if name in form.fields else None, told_with_way(fault))


def _is_filled(form: BaseForm) -> bool:
    deleted = form.is_bound and bool(getattr(form, "cleaned_data", {}).get("DELETE"))
    return form.has_changed() and not deleted


def filled(rows: "BaseFormSet[Any]") -> list[dict[str, Any]]:
    """The cleaned values of the rows that were filled in, in their order."""
    return [form.cleaned_data for form in rows.forms if _is_filled(form)]


@contextmanager
def faults_on(
    form: BaseForm, *, rows: Rows | None = None, names: Mapping[str, str] = NO_NAMES
) -> Iterator[None]:
    """What is refused within is placed on the form (see `place_faults`), and ends it there."""
    try:
        yield
    except Refusal as refusal:
        place_faults(refusal, form, rows=rows, names=names)


def refused_form(refusal: Refusal, form: BaseForm | None = None) -> Any:
    """A form that only tells what was refused; without one of its own, a form without fields."""
    told = Form({}) if form is None else form
    told.full_clean()
    place_faults(refusal, told)
    return told


class Named(Protocol):
    """A row that people call by a name."""

    name: Any


Kept = TypeVar("Kept", bound=Named)


def saved_by(request: HttpRequest, form: BaseForm, save: Callable[[], Kept]) -> Kept | None:
    """What `save` kept of a form that was sent, told to whoever sent it.

    None on GET, and where something is wrong: that stands beside its field then.
    """
    if request.method != "POST" or not form.is_valid():
        return None
    with faults_on(form):
        kept = save()
        messages.success(request, f"{kept.name} is saved.")
        return kept
    return None


class OptionalRows(BaseFormSet):  # type: ignore[type-arg]
    """Rows of which each may stay empty, also those that came filled in: emptied is taken out.

    Its form says in `has_changed` what a filled-in row is.
    """

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        """Django takes rows that came filled in for rows that must stay."""
        return {
            **super().get_form_kwargs(index),
            "empty_permitted": True,
            "use_required_attribute": False,
        }


class NewRows(BaseFormSet):  # type: ignore[type-arg]
    """Rows that are all new to the server, so that any of them may be emptied.

    Unlike `OptionalRows` for rows whose forms compare what is sent with nothing.
    """

    def initial_form_count(self) -> int:
        return 0

    def total_form_count(self) -> int:
        if self.is_bound:
            return super().total_form_count()
        return len(self.initial or ()) + self.extra


def form_page(
    request: HttpRequest, template: str, context: Mapping[str, Any], *, refused: bool | None = None
) -> HttpResponse:
    """Show a form: 200 on GET, 422 when it comes back with errors (undoing a page done `once`)."""
    again = request.method == "POST" if refused is None else refused
    return render(request, template, dict(context), status=422 if again else 200)


def see_other(
    request: HttpRequest, name: str, *args: Any, query: Mapping[str, str] | None = None
) -> HttpResponse:
    """After a POST: lead to the page called `name`, so that a reload sends nothing again."""
    address = reverse(name, args=args, query=query)
    if getattr(request, "htmx", False):
        return HttpResponseClientRedirect(address)
    response = HttpResponseRedirect(address)
    response.status_code = 303
    return response
