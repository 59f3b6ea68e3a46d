"""The list of batches: what is under way, what is due, and any batch by name or code."""

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.batch import STATES, next_of
from recipes.queries.bench.batches import UNDER_WAY, batches_listed, due_by, due_on
from studio.foundation.roles import Capability
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page

ALL = "all"
CHOICES = [
    ("", "Under way"),
    *((state.value, STATES[state]) for state in BatchState),
    (ALL, "All batches"),
]


class BatchFilter(forms.Form):
    """What is looked for among the batches."""

    q = forms.CharField(required=False, max_length=100, label="Recipe or code")
    state = forms.ChoiceField(required=False, choices=CHOICES, label="Which")
    due = forms.BooleanField(required=False, label="Only what is due")


@page(Capability.READ, methods=GET)
def batch_list(request: HttpRequest) -> HttpResponse:
    """Batches under way, the earliest day first; all others with the newest first."""
    form = BatchFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    order = ("planned_on", "id") if not given.get("state") else ("-planned_on", "-id")
    rows = list_page(request, _found(given), order=order, filters=form)
    today = timezone.localdate()
    shown = [_row(batch, today) for batch in rows.rows]
    context = {
        "rows": rows,
        "shown": shown,
        "due": batches_listed().filter(due_by(today)).count(),
    }
    return render(request, "recipes/bench/batches.html", context)


def _found(given: dict[str, object]) -> "QuerySet[Batch]":
    found = batches_listed()
    state = given.get("state")
    if not state:
        found = found.filter(state__in=UNDER_WAY)
    elif state != ALL:
        found = found.filter(state=state)
    if given.get("due"):
        found = found.filter(due_by(timezone.localdate()))
    if text := given.get("q"):
        found = found.filter(Q(code__icontains=text) | Q(version__formula__name__icontains=text))
    return found


def _row(batch: Batch, today: object) -> dict[str, object]:
    due = due_on(batch)
    return {
        "batch": batch,
        "state": STATES[BatchState(batch.state)],
        "next": next_of(batch),
        "due": due,
        "is_due": due is not None and due <= today,  # type: ignore[operator]
        "bars": batch.bars_planned if batch.bars_good is None else batch.bars_good,
    }
