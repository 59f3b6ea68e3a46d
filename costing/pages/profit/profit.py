"""Profit of what left, by the ledger; bars a month that cover what is spent; the smallest order."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import urlencode

from costing.domain.profit.profit import By, Figures
from costing.pages.dated import GET, LOOK
from costing.pages.drawn import length
from costing.queries.profit.profit import Profit, profit_by
from studio.web.pages.places import page_address
from studio.web.pages.ruled import page

GROUPS = {
    "product": "Product",
    "customer": "Customer",
    "month": "Month",
    "customer,product": "Customer and product",
    "product,month": "Product and month",
}
DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class ProfitForm(forms.Form):
    """What to group by, and which days."""

    by = forms.ChoiceField(required=False, label="By", choices=list(GROUPS.items()))
    since = forms.DateField(required=False, label="From", widget=DAY)
    until = forms.DateField(required=False, label="Until", widget=DAY)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        since, until = given.get("since"), given.get("until")
        if since and until and until < since:
            self.add_error("until", f"It starts on {since}: choose that day or a later one.")
        return given


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownGroup:
    """A group with its names, its figures, and the length of its bars."""

    names: tuple[str, ...]
    figures: Figures
    revenue: int
    cost: int


@page(LOOK, methods=GET)
def profit_page(request: HttpRequest) -> HttpResponse:
    """Revenue, cost of goods sold and margin, of this year unless other days are asked for."""
    new_year = timezone.localdate().replace(month=1, day=1)
    form = ProfitForm(request.GET or {"by": "product", "since": new_year.isoformat()})
    given = form.cleaned_data if form.is_valid() else {}
    by = tuple(By(name) for name in (given.get("by") or "product").split(","))
    found = profit_by(by, since=given.get("since"), until=given.get("until"))
    context = {
        "form": form,
        "found": found,
        "groups": _shown(found),
        "heads": [GROUPS[each.value] for each in by],
        "files": _files(found),
    }
    return render(request, "costing/profit/profit.html", context)


def _shown(found: Profit) -> list[ShownGroup]:
    largest = max((figures.revenue for figures in found.groups.values()), default=0)
    groups = [
        ShownGroup(
            names=tuple(
                found.names.get((by, code), code) for by, code in zip(found.by, group, strict=True)
            ),
            figures=figures,
            revenue=length(max(figures.revenue, 0), largest),
            cost=length(max(figures.cost_at_least, 0), largest),
        )
        for group, figures in found.groups.items()
    ]
    if By.MONTH in found.by:
        return groups
    return sorted(groups, key=lambda each: -each.figures.margin_at_most)


def _files(found: Profit) -> list[tuple[str, str]]:
    """The same as files to take away."""
    days: dict[str, date | None] = {"from": found.since, "until": found.until}
    asked = {"by": ",".join(found.by)}
    asked |= {name: day.isoformat() for name, day in days.items() if day}
    named = (("CSV", page_address("profit-csv")), ("XLSX", page_address("profit-xlsx")))
    return [(word, f"{address}?{urlencode(asked)}") for word, address in named if address]
