"""What holds a lot, and the pages that hold it, release it, end its cure or decide over it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.domain.shipping.trace import Direction, TracedLot
from inventory.domain.stock.holds import (
    DECIDED,
    LIFTED_BY,
    LONGEST_SAID,
    MOST_FREE_ALKALI,
    Cause,
    Decision,
    Outcome,
    Way,
    way_out,
)
from inventory.domain.stock.lots import LotState
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.pages.stock.lot_verbs import verb_page
from inventory.pages.words import document
from inventory.queries.shipping.trace import trace
from inventory.queries.stock.holds import holds_of, open_holds
from inventory.queries.stock.lot_history import lot_at
from inventory.services.stock.hold_verbs import (
    decide_lot,
    end_cure,
    hold_lot,
    release_lot,
    remaining,
)
from studio.foundation.roles import Capability
from studio.foundation.units.writing import percent
from studio.web.form_fields import DayFormField, ShareFormField
from studio.web.pages.places import page_address
from studio.web.pages.ruled import page, who

WORDS = {
    Cause.ARRIVAL: "to be checked",
    Cause.CURE: "curing",
    Cause.LYE: "lye-heavy",
    Cause.LIMIT: "too much fragrance",
    Cause.RECALL: "recalled",
    Cause.BY_HAND: "held by hand",
    Cause.TRIAL: "of a trial",
}
OUTCOMES = (
    (Outcome.SAFE.value, "Safe again: a value was wrong and is corrected on its certificate"),
    (Outcome.MEASURED.value, "Measured: free caustic alkali by ISO 456"),
    (Outcome.DISPOSED.value, "Disposed of: all of it is written off"),
    (Outcome.REBATCHED.value, "Used up in a rebatch: nothing of it is left"),
)
_OUTCOME_WORDS = {
    Outcome.SAFE: "judged safe again",
    Outcome.MEASURED: "measured",
    Outcome.DISPOSED: "disposed of",
    Outcome.REBATCHED: "used up in a rebatch",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownHold:
    """A hold as the lot's page tells it: its cause in a word, its document's page, its way out.

    `button` and `address` are for those who may lift it.
    """

    held: Hold
    word: str
    reason: str
    kind: str
    document: str
    href: str
    free_once: str
    button: str = ""
    address: str = ""

    @property
    def outcome(self) -> str:
        """What an owner decided, in words; "" for other causes."""
        return _OUTCOME_WORDS[Outcome(self.held.outcome)] if self.held.outcome else ""


def shown_holds(lot: Lot, able: Any) -> list[ShownHold]:
    """The holds of a lot, the open ones first, each with a button for who may lift it."""
    shown = [_shown(lot, each, able) for each in holds_of(lot.pk)]
    return sorted(shown, key=lambda each: not each.held.open)


def _shown(lot: Lot, held: Hold, able: Any) -> ShownHold:
    cause = Cause(held.cause)
    words, href = document(held.reference) if held.reference else ("", "")
    button, address = _button(lot, held, able) if held.open else ("", "")
    said = held.reason.removeprefix(f"{words}: ")
    return ShownHold(
        held=held,
        word=WORDS[cause],
        reason="" if said == WORDS[cause] else said,
        kind="soon" if cause in (Cause.ARRIVAL, Cause.CURE) else "danger",
        # Opening stock has no page of its own.
        document="" if held.reference.startswith("opening:") else words,
        href=href,
        free_once=way_out(cause, held.reference) if held.open else "",
        button=button,
        address=address,
    )


def _button(lot: Lot, held: Hold, able: Any) -> tuple[str, str]:
    """The button that leads to lifting a hold, and where it leads; nothing for others."""
    way = LIFTED_BY[Cause(held.cause)]
    if way is Way.KEEPER and Capability.KEEP_STOCK in able:
        return "Release", page_address("lot-release-page", lot.code)
    if way is Way.OWNER and Capability.DECIDE in able:
        return "Decide", page_address("lot-decide-page", lot.code) + f"?cause={held.cause}"
    if way is Way.RECALL and Capability.KEEP_STOCK in able:
        code = held.reference.partition(":")[2]
        return "Lift the recall", page_address("recall-lift-page", code)
    if way is Way.CURE:
        kind, _, code = held.reference.partition(":")
        if kind == "batch" and Capability.MAKE in able:
            return "See its cure", page_address("cure-page", code)
        if kind != "batch" and Capability.KEEP_STOCK in able:
            return "End its cure", page_address("lot-end-cure-page", lot.code)
    return "", ""


class _DatedForm(forms.Form):
    reason = forms.CharField(max_length=LONGEST_SAID, label="Why")
    on = DayFormField(required=False, label="On", help_text="Today, if left out.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"on": timezone.localdate()})
        super().__init__(*args, **kwargs)


class HoldForm(_DatedForm):
    """Why a lot is held, and whether what was made of it is, too."""

    reason = forms.CharField(max_length=LONGEST_SAID, label="Why it is held")
    with_made_of = forms.BooleanField(
        required=False,
        label="And what was made of it",
        help_text="An oil that smells is in the soap; a drum that leaks is not.",
    )


class ReleaseForm(_DatedForm):
    """Why a lot is released."""

    reason = forms.CharField(
        max_length=LONGEST_SAID,
        label="Why it may be used",
        help_text="Its certificate came; it smells and looks as it should.",
    )


class MayStayUnsaidForm(_DatedForm):
    """Why, where that may stay unsaid."""

    reason = forms.CharField(required=False, max_length=LONGEST_SAID, label="Why")


class DecideForm(forms.Form):
    """What an owner decides of soap that is held as unsafe."""

    cause = forms.ChoiceField(label="Held as")
    outcome = forms.ChoiceField(choices=OUTCOMES, widget=forms.RadioSelect, label="What it came to")
    reason = forms.CharField(max_length=LONGEST_SAID, label="Why")
    free_alkali = ShareFormField(
        required=False,
        label="Free alkali as NaOH",
        help_text=f"As measured, in percent: 0.04 %. At most {percent(MOST_FREE_ALKALI)}.",
    )
    measured_on = DayFormField(required=False, label="Measured on")
    on = DayFormField(label="Decided on")

    def __init__(self, *args: Any, holds: list[Hold], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        causes = dict.fromkeys(each.cause for each in holds if each.cause in DECIDED)
        choices = [(cause, WORDS[Cause(cause)]) for cause in causes]
        self.fields["cause"].choices = choices  # type: ignore[attr-defined]
        self.may_be_decided = bool(choices)


@page(Capability.KEEP_STOCK, once=True)
def release_page(request: HttpRequest, code: str) -> HttpResponse:
    """Lift what holds the lot by hand or on its arrival."""

    def do(lot: Lot, given: Any) -> str:
        freed = release_lot(lot.pk, reason=given["reason"], on=given["on"], by=who(request))
        left = open_holds(freed.pk)
        return f"is not free yet. {remaining(left)}" if left else "is released."

    told = "From now on it may be reserved and used, unless something else holds it."
    form = ReleaseForm(request.POST or None)
    return verb_page(request, code, form, do, verb="Release", told=told)


@page(Capability.KEEP_STOCK, once=True)
def end_cure_page(request: HttpRequest, code: str) -> HttpResponse:
    """End the cure of bars that stood here before."""

    def do(lot: Lot, given: Any) -> str:
        freed = end_cure(lot.pk, reason=given["reason"], on=given["on"], by=who(request))
        left = open_holds(freed.pk)
        return f"is cured, but not free yet. {remaining(left)}" if left else "is cured."

    told = "Before the day that was stated for it, or where none was, say why it is over."
    form = MayStayUnsaidForm(request.POST or None)
    return verb_page(request, code, form, do, verb="End its cure", told=told)


@page(Capability.KEEP_STOCK, once=True)
def quarantine_page(request: HttpRequest, code: str) -> HttpResponse:
    """Have the lot checked before it is used."""

    def do(lot: Lot, given: Any) -> str:
        hold_lot(lot.pk, **given, cause=Cause.ARRIVAL, by=who(request))
        return "waits to be checked."

    told = "It is kept, but nobody may reserve or use it until it is released."
    form = MayStayUnsaidForm(request.POST or None)
    return verb_page(request, code, form, do, verb="Put in quarantine", told=told)


@page(Capability.KEEP_STOCK, once=True)
def hold_page(request: HttpRequest, code: str) -> HttpResponse:
    """Keep the lot from being used."""

    def do(lot: Lot, given: Any) -> str:
        hold_lot(lot.pk, **given, by=who(request))
        free = [one for one in made_of(code) if one.state == LotState.RELEASED.value]
        return f"is held. Made of it and not held: {_codes(free)}." if free else "is held."

    told = (
        "Nobody can reserve or use it any more. What is reserved of it stays reserved but cannot "
        "be taken: those batches need another lot. What is made of it later is held, too."
    )
    form, made = HoldForm(request.POST or None), made_of(code)
    if not made:
        del form.fields["with_made_of"]
    return verb_page(request, code, form, do, verb="Hold", told=told, grave=True, made=made)


def made_of(code: str) -> Sequence[TracedLot]:
    """What was made of a lot and is still here. Three queries."""
    return trace(lot_at(code).code, Direction.DOWN).standing


def _codes(lots: Sequence[TracedLot]) -> str:
    return ", ".join(f"{lot.code} {lot.material_name}" for lot in lots)


@page(Capability.DECIDE, once=True)
def decide_page(request: HttpRequest, code: str) -> HttpResponse:
    """Decide what becomes of soap that is held as unsafe."""
    lot = lot_at(code)

    def do(lot: Lot, given: Any) -> str:
        names = ("outcome", "reason", "on", "free_alkali", "measured_on")
        values = {name: given[name] for name in names}
        decision = Decision(**{**values, "outcome": Outcome(values["outcome"])})
        freed = decide_lot(lot.pk, decision, cause=Cause(given["cause"]), by=who(request))
        left = open_holds(freed.pk)
        return (
            f"has its decision, but is not free yet. {remaining(left)}"
            if left
            else "is free of it."
        )

    form = DecideForm(
        request.POST or None,
        holds=open_holds(lot.pk),
        initial={"on": timezone.localdate(), "cause": request.GET.get("cause", "")},
    )
    told = (
        "Soap with free lye burns, and a fragrance over its limit can harm: nothing is sold on a "
        "guess. A taste or a touch is no measurement. Local codes and licensed practice come first."
    )
    if not form.may_be_decided:
        told = "Nothing holds this lot as unsafe: there is nothing to decide."
    return verb_page(request, code, form, do, verb="Decide", told=told, grave=True, lot=lot)
