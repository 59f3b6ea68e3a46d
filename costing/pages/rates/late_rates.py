"""Rates that came late: which batches wait for one, and entering what they add."""

from collections.abc import Collection

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from costing.models.bar_cost.conversion import LateConversion
from costing.pages.dated import DAY, SET
from costing.pages.rates.set_up import RATES
from costing.queries.bar_cost.late_rates import WaitingBatch, waiting_batches
from costing.services.bar_cost.late_rates import post_late_rates
from studio.foundation.local_words import written_money
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import form_page, see_other
from studio.web.pages.ruled import page, who
from studio.web.pages.stock_pages import stock_page


class SinceForm(forms.Form):
    """Which batches."""

    since = forms.DateField(
        label="Batches poured from the day",
        help_text="Each takes the rates of the day of its pour.",
        widget=forms.DateInput(attrs=DAY, format="%Y-%m-%d"),
    )


@page(SET)
@stock_page
def late_rates_page(request: HttpRequest) -> HttpResponse:
    """Look at what would be entered on which batch, then enter it."""
    waiting = waiting_batches()
    ready = [each for each in waiting if each.can_be_posted]
    first = ready[0].poured_on if ready else timezone.localdate()
    form = SinceForm(request.POST or None, initial={"since": first})
    if request.method == "POST" and form.is_valid():
        made = post_late_rates(
            since=form.cleaned_data["since"], on=timezone.localdate(), by=who(request)
        )
        messages.success(request, _entered(made))
        return see_other(request, "late-rates-page")
    rows = [(each, _words(each)) for each in waiting]
    return form_page(
        request, "costing/rates/late_rates.html", {"form": form, "rows": rows, "ready": ready}
    )


def _entered(made: Collection[LateConversion]) -> str:
    """What went where, in words."""
    if not made:
        return "No batch since that day waits for a rate that is there."
    on_lots = written_money(sum(each.on_lot for each in made))
    told = f"{on_lots} is on what {how_many(len(made), 'batch', 'batches')} made"
    if expense := sum(each.variance + each.expensed for each in made):
        return f"{told}, and {written_money(expense)} is an expense of today."
    return f"{told}."


def _words(each: WaitingBatch) -> str:
    """The rates that it waits for all the same."""
    return ", ".join(RATES[kind.value] for kind in each.missed).lower()
