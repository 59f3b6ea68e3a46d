"""Quotes: the list, the page of each, and the editor of a draft."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.quotes.quoting import cartons
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.pages.quotes.customers import OFFER
from costing.pages.quotes.form import WrittenQuote
from costing.queries.quotes.quotes import find_quote, margins_of, offered_of
from costing.services.quotes.drafts import change_quote, draft_quote, recalculate, revise_quote
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other, unchanged_since
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

ORIGINS = {
    "cured": "cured, lot",
    "curing": "curing,",
    "planned": "planned,",
}
LOOK = (Capability.READ, Capability.SEE_COSTS)
ANY = ("", "Any")


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """So many of a line's bars, from where, ready on a day."""

    bars: int
    words: str
    ready_on: date
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """A line as the quote's page shows it; `restoring` is the lowest price that is on the floor."""

    line: QuoteLine
    margin_actual: Decimal | None
    margin_replacement: Decimal | None
    paid: int
    under: bool
    unknown: bool
    why_unknown: str
    restoring: int | None
    full: int
    left: int
    origins: tuple[Origin, ...]
    reason: str

    @property
    def is_own(self) -> bool:
        """Whether somebody named this price in place of the list's."""
        return self.line.own_price is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownQuote:
    """A quote with its lines as they are shown."""

    quote: Quote
    lines: tuple[ShownLine, ...]

    @property
    def under(self) -> tuple[ShownLine, ...]:
        """The lines under their floor."""
        return tuple(row for row in self.lines if row.under)

    @property
    def unknown(self) -> tuple[ShownLine, ...]:
        """The lines whose floor nobody knows, and that are not under it for certain."""
        return tuple(row for row in self.lines if row.unknown and not row.under)

    @property
    def bars(self) -> int:
        """All bars of it."""
        return sum(row.line.quantity for row in self.lines)

    @property
    def ready_on(self) -> date | None:
        """The day on which all of it can be there; None where some of it cannot be promised."""
        days = [row.line.promised_on for row in self.lines]
        return max((day for day in days if day), default=None) if all(days) else None

    @property
    def is_late(self) -> bool:
        """Whether it comes later than it is wanted."""
        wanted, ready = self.quote.wanted_on, self.ready_on
        return wanted is not None and (ready is None or ready > wanted)


def show_quote(quote: Quote) -> ShownQuote:
    """A quote of `costing.queries.quotes.quotes.find_quote` as its page shows it. No query."""
    return ShownQuote(quote=quote, lines=tuple(_line(quote, row) for row in quote.lines.all()))


def _line(quote: Quote, line: QuoteLine) -> ShownLine:
    offered = offered_of(quote, line)
    asked = offered.asked
    actual, replacement = margins_of(quote, line)
    full, left = cartons(line.quantity, line.bars_per_carton)
    return ShownLine(
        line=line,
        margin_actual=actual,
        margin_replacement=replacement,
        paid=round(asked.paid),
        under=asked.under,
        unknown=offered.is_floor_unknown,
        why_unknown=offered.why_unknown,
        restoring=asked.restored(step=line.tier.step, ending=line.tier.ending),
        full=full,
        left=left,
        origins=_origins(line.promise.get("parts", ())),
        reason=str(line.promise.get("reason", "")),
    )


def _origins(parts: Iterable[dict[str, Any]]) -> tuple[Origin, ...]:
    """Each lot and batch that is there; new batches in one mold together, as they may be many."""
    parts = list(parts)
    there = [_there(part) for part in parts if part["kind"] != "new"]
    molds = dict.fromkeys(part["code"] for part in parts if part["kind"] == "new")
    return (*there, *(_new(mold, parts) for mold in molds))


def _there(part: dict[str, Any]) -> Origin:
    words = f"{ORIGINS.get(part['kind'], '')} {part['code']}".strip()
    return Origin(bars=part["amount"], words=words, ready_on=date.fromisoformat(part["ready_on"]))


def _new(mold: str, parts: Iterable[dict[str, Any]]) -> Origin:
    batches = [part for part in parts if part["kind"] == "new" and part["code"] == mold]
    days = sorted(date.fromisoformat(part["ready_on"]) for part in batches)
    count = "a new batch" if len(batches) == 1 else f"{len(batches)} new batches"
    return Origin(
        bars=sum(part["amount"] for part in batches),
        words=f"from {count}, {mold}",
        ready_on=days[0],
        until=days[-1] if days[-1] != days[0] else None,
    )


class QuoteFilter(forms.Form):
    """What is looked for among the quotes."""

    q = forms.CharField(required=False, max_length=100, label="Customer or number")
    state = forms.ChoiceField(required=False, choices=[ANY, *QuoteState.choices])


class DeclineForm(forms.Form):
    """Why the customer does not want it."""

    reason = forms.CharField(required=False, max_length=400, label="Why, in the customer's words")


@page(LOOK, methods=GET)
def quote_list(request: HttpRequest) -> HttpResponse:
    """All quotes, the newest first."""
    form = QuoteFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("-id",), filters=form)
    waiting = Quote.objects.filter(state=QuoteState.SENT).count()
    context = {"rows": rows, "waiting": waiting, "today": timezone.localdate()}
    return render(request, "costing/quotes/quotes.html", context)


def _found(form: QuoteFilter) -> "QuerySet[Quote]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Quote.objects.select_related("customer").defer("paper")
    if given.get("state"):
        found = found.filter(state=given["state"])
    if text := given.get("q"):
        found = found.filter(
            Q(code__icontains=text)
            | Q(customer__name__icontains=text)
            | Q(customer__code__icontains=text)
        )
    return found


@page(LOOK, methods=GET)
def quote_page(request: HttpRequest, code: str) -> HttpResponse:
    """A quote: what it comes to, what is left of it, when it can be there."""
    return quote_shown(request, code)


def quote_shown(
    request: HttpRequest, code: str, form: forms.Form | None = None, *, status: int = 200
) -> HttpResponse:
    """The page of a quote, with the form that was refused."""
    quote = find_quote(code)
    context = {
        "quote": quote,
        "shown": show_quote(quote),
        "form": form or DeclineForm(),
        "order": getattr(quote, "order", None) if quote.state == QuoteState.ACCEPTED else None,
        "drafts": [row for row in quote.replaced_by.all() if row.state == QuoteState.DRAFT],
        "is_over": quote.state == QuoteState.SENT and quote.valid_until < timezone.localdate(),
    }
    return render(request, "costing/quotes/quote.html", context, status=status)


@page(OFFER)
def quote_new(request: HttpRequest) -> HttpResponse:
    """Write a draft."""
    customer = request.GET.get("customer", "")
    return _edit(request, WrittenQuote(request.POST or None, customer=customer), None)


@page(OFFER)
def quote_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a draft; what was sent is frozen and is revised instead."""
    quote = find_quote(code)
    if request.method != "POST" and quote.state != QuoteState.DRAFT:
        return see_other(request, "quote-page", code)
    return _edit(request, WrittenQuote(request.POST or None, quote=quote), quote)


def _edit(request: HttpRequest, written: WrittenQuote, quote: Quote | None) -> HttpResponse:
    if request.method == "POST" and written.is_valid():
        with faults_on(written.head, rows={"lines": written.lines}):
            saved = _save(request, written, quote)
            messages.success(request, f"Draft {saved.code} is saved and worked out.")
            return see_other(request, "quote-page", saved.code)
    return form_page(request, "costing/quotes/edit.html", {"written": written, "quote": quote})


def _save(request: HttpRequest, written: WrittenQuote, quote: Quote | None) -> Quote:
    today = timezone.localdate()
    if quote is None:
        return draft_quote(written.described(), on=today, by=who(request))
    described, unchanged = written.described(), unchanged_since(request)
    return change_quote(quote.code, described, on=today, unchanged=unchanged)


@page(OFFER, methods=("POST",), once=True)
def quote_again(request: HttpRequest, code: str) -> HttpResponse:
    """Work a draft out again with today's prices, costs and stock."""
    return _done(request, code, lambda: recalculate(code, on=timezone.localdate()), "worked out")


@page(OFFER, methods=("POST",), once=True)
def quote_revise(request: HttpRequest, code: str) -> HttpResponse:
    """A new draft of a quote that was sent."""
    by = who(request)
    return _done(
        request,
        code,
        lambda: revise_quote(code, on=timezone.localdate(), by=by),
        f"a draft that replaces {code} once it is sent",
    )


def _done(request: HttpRequest, code: str, do: Any, words: str) -> HttpResponse:
    try:
        quote = do()
    except Refusal as refusal:
        form = refused_form(refusal, DeclineForm({}))
        return quote_shown(request, code, form, status=422)
    messages.success(request, f"{quote.code} is {words}.")
    return see_other(request, "quote-page", quote.code)
