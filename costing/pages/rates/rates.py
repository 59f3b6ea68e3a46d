"""Rates: what an hour of labor and the overhead cost, and since when."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.rates.rates import ALWAYS, RateKind
from costing.models.rates.rates import Rate
from costing.pages.dated_form import from_day, may_be_replaced
from costing.pages.rates.set_up import RATES
from costing.pages.rules import GET, LOOK, SET
from costing.queries.rates.set_up import rates_by_kind
from costing.services.rates.rates import RateDescription, save_rate
from studio.foundation.errors import Refusal
from studio.foundation.local_words import written_money
from studio.web.form_fields import MoneyFormField
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.ruled import page, who


class RateForm(forms.Form):
    """A rate from a day on."""

    kind = forms.ChoiceField(label="What is paid for", choices=list(RATES.items()))
    amount = MoneyFormField(label="Costs")
    effective_from = from_day()


@page(LOOK, methods=GET)
def rates_page(request: HttpRequest) -> HttpResponse:
    """Every kind with what it costs now, what is to come, and what it was."""
    there = {dated.newest.kind: dated for dated in rates_by_kind(on=timezone.localdate())}
    rows = [
        {"kind": kind, "name": name, "dated": there.get(kind), "always": kind in _ALWAYS}
        for kind, name in RATES.items()
    ]
    missing = [row["name"] for row in rows if row["always"] and not _is_set(row["dated"])]
    return render(request, "costing/rates/rates.html", {"rows": rows, "missing": missing})


_ALWAYS = {kind.value for kind in ALWAYS}


def _is_set(dated: Any) -> bool:
    return dated is not None and dated.now is not None


@page(SET)
def rate_new(request: HttpRequest) -> HttpResponse:
    """Let a rate hold from a day on; one of the same day to come is replaced."""
    form = RateForm(request.POST or None, initial={"kind": request.GET.get("kind", "labor_hour")})
    if request.method == "POST" and form.is_valid():
        try:
            rate = _save(request, form.cleaned_data)
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
            words = f"{RATES[rate.kind]} costs {written_money(rate.amount)}"
            messages.success(request, f"{words} from {rate.effective_from} on.")
            return see_other(request, "rates-page")
    return form_page(request, "costing/rates/rate_new.html", {"form": form})


def _save(request: HttpRequest, given: dict[str, Any]) -> Rate:
    described = RateDescription(
        kind=RateKind(given["kind"]),
        amount=given["amount"],
        effective_from=given["effective_from"],
    )
    same = Rate.objects.filter(kind=given["kind"], effective_from=given["effective_from"]).first()
    again = same.pk if same and may_be_replaced(same, today=timezone.localdate()) else None
    return save_rate(described, rate_id=again, by=who(request))
