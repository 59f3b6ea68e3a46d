"""The list of recipes: from here, each is two clicks from its weights in a mold."""

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.models.formulas.formulas import Formula
from recipes.queries.formulas.listed import formulas_listed
from studio.foundation.roles import Capability
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import page


class RecipeFilter(forms.Form):
    """What is looked for among the recipes."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer in use")


@page(Capability.READ, methods=("GET", "HEAD"))
def recipe_list(request: HttpRequest) -> HttpResponse:
    """All recipes by name, with when each was last made."""
    form = RecipeFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form)
    return render(request, "recipes/formulas/recipes.html", {"rows": rows})


def _found(form: RecipeFilter) -> "QuerySet[Formula]":
    given = form.cleaned_data if form.is_valid() else {}
    found = formulas_listed()
    if not given.get("old"):
        found = found.filter(active=True)
    if given.get("q"):
        found = found.filter(Q(name__icontains=given["q"]) | Q(code__icontains=given["q"]))
    return found
