"""The end of a count: its differences, what to say of lots that moved, posting, giving up."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from inventory.domain.counting.session import Moved, SessionState
from inventory.queries.counting.sessions import (
    Variance,
    VarianceLine,
    progress_of,
    session_by_code,
    variance_of,
)
from inventory.services.counting.posting import Posting, post_session
from inventory.services.counting.sessions import cancel_session
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import page, who

WHEN = [
    (Moved.AFTER_COUNT.value, "After the count: the difference found then still stands"),
    (Moved.BEFORE_COUNT.value, "Before the count, booked late: what was found stands"),
]


def _name(lot: str) -> str:
    return f"moved-{lot}"


class CloseForm(forms.Form):
    """What only somebody who was there can say."""

    leave_uncounted = forms.BooleanField(required=False, label="Leave them as the books have them")

    def __init__(self, data: Any, *, variance: Variance) -> None:
        super().__init__(data)
        self.variance = variance
        if not variance.not_counted:
            del self.fields["leave_uncounted"]
        for line in variance.moved:
            self.fields[_name(line.lot)] = forms.ChoiceField(
                required=False,
                label=f"When did lot {line.lot} really move?",
                choices=WHEN,
                widget=forms.RadioSelect,
            )

    def posting(self) -> Posting:
        """How the service is to post."""
        given = self.cleaned_data
        said = {line.lot: given[_name(line.lot)] for line in self.variance.moved}
        return Posting(
            moved={lot: Moved(when) for lot, when in said.items() if when},
            leave_uncounted=given.get("leave_uncounted", False),
        )


@dataclass(frozen=True, slots=True)
class ClosingRow:
    """A counted lot with the field that asks of it, and what stands in its way."""

    line: VarianceLine
    field: Any = None
    fault: str = ""


@page(Capability.KEEP_STOCK, once=True)
def close_page(request: HttpRequest, code: str) -> HttpResponse:
    """Look at the differences, and post all of them at once."""
    variance = variance_of(code)
    if variance.session.state != SessionState.OPEN.value:
        return see_other(request, "count-page", code)
    form, faults = CloseForm(request.POST or None, variance=variance), dict[str, str]()
    # Where nothing is asked, an empty form is bound too.
    form.is_bound = request.method == "POST"
    if request.method == "POST" and form.is_valid():
        try:
            post_session(code, form.posting(), by=who(request))
        except Refusal as refusal:
            faults = _place(refusal, form)
        else:
            messages.success(request, f"Count {code} is posted: the books are what was found.")
            return see_other(request, "count-page", code)
    context = {
        "session": variance.session,
        "variance": variance,
        "form": form,
        "differing": [ClosingRow(x, fault=faults.get(x.lot, "")) for x in variance.differing],
        "moved": [ClosingRow(x, form[_name(x.lot)]) for x in variance.moved],
    }
    return form_page(request, "inventory/counting/close.html", context)


def _place(refusal: Refusal, form: CloseForm) -> dict[str, str]:
    """Faults of single lots that no field asks of, by lot; the others go to the form."""
    beside: dict[str, str] = {}
    left = 0
    for fault in refusal.faults:
        lot = str(fault.details.get("lot", ""))
        if _name(lot) in form.fields:
            form.add_error(_name(lot), fault.message)
        elif fault.code == "not-counted":
            left += 1
        elif lot:
            beside[lot] = fault.message
        else:
            form.add_error(None, fault.message)
    if left:
        words = f"{left} lots are" if left > 1 else "1 lot is"
        form.add_error("leave_uncounted", f"{words} not counted yet: count on, or tick this.")
    if beside:
        form.add_error(None, "The books cannot be brought to what was found: see beside the lot.")
    return beside


@page(Capability.KEEP_STOCK)
def cancel_page(request: HttpRequest, code: str) -> HttpResponse:
    """Give a count up: nothing is posted."""
    session = session_by_code(code)
    if session.state != SessionState.OPEN.value:
        return see_other(request, "count-page", code)
    form = forms.Form(request.POST or None)
    if request.method == "POST":
        form.is_bound = True
        with faults_on(form):
            cancel_session(code, by=who(request))
            messages.success(request, f"Count {code} is cancelled; the books stay as they are.")
            return see_other(request, "count-page", code)
    context = {"session": session, "form": form, "progress": progress_of(session)}
    return form_page(request, "inventory/counting/cancel.html", context)
