"""Counts of many lots: those that are open and those that are done, and beginning one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.counting.session import SessionState
from inventory.queries.counting.sessions import sessions_found
from inventory.queries.stock.shelf import places_to_count
from inventory.services.counting.sessions import NewSession, open_session
from studio.foundation.roles import Capability
from studio.web.form_fields import DayFormField
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

#: How a count's state is marked.
MARKS = {"open": "soon", "posted": "good", "cancelled": ""}
NOTE = 160


class CountsFilter(forms.Form):
    """What is looked for among counts."""

    q = forms.CharField(required=False, max_length=100, label="Count, place or note")
    state = forms.ChoiceField(
        required=False,
        label="State",
        choices=[("", "Any"), *((one.value, one.value.capitalize()) for one in SessionState)],
    )


class NewCountForm(forms.Form):
    """What is counted."""

    location = forms.ChoiceField(required=False, label="Where")
    kinds = forms.MultipleChoiceField(
        required=False,
        label="Kinds",
        help_text="None ticked: every kind.",
        choices=[(kind.value, kind.value.capitalize()) for kind in MaterialKind],
        widget=forms.CheckboxSelectMultiple,
    )
    not_since = DayFormField(
        required=False, label="Only what was not counted since", help_text="Empty: all of it."
    )
    counted_on = DayFormField(label="Counted on")
    note = forms.CharField(
        required=False,
        max_length=NOTE,
        label="What for",
        help_text="Stands with each correction that has no reason of its own.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["location"].choices = [  # type: ignore[attr-defined]
            ("", "Everywhere"),
            *places_to_count(),
        ]

    def new_session(self) -> NewSession:
        """What the service is asked for."""
        given = self.cleaned_data
        return NewSession(**given, everywhere=not (given["location"] or given["kinds"]))


@page(Capability.READ, methods=GET)
def count_list(request: HttpRequest) -> HttpResponse:
    """All counts, the newest first."""
    form = CountsFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = sessions_found(text=given.get("q", ""), state=given.get("state", ""))
    rows = list_page(request, found, order=("-id",), filters=form)
    shown = [(one, MARKS.get(one.state, "")) for one in rows.rows]
    return render(request, "inventory/counting/counts.html", {"rows": rows, "shown": shown})


@page(Capability.KEEP_STOCK, once=True)
def count_new(request: HttpRequest) -> HttpResponse:
    """Begin a count; its sheet has the lots that are there now."""
    initial = {"counted_on": timezone.localdate(), "location": request.GET.get("place", "")}
    form = NewCountForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            session = open_session(form.new_session(), by=who(request))
            messages.success(request, f"Count {session.code} is begun.")
            return see_other(request, "count-page", session.code)
    return form_page(request, "inventory/counting/new.html", {"form": form})
