"""People and their roles: owners add accounts, change them and end them."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from studio.foundation.roles import Capability, Role
from studio.web import accounts
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import GET, page

ROLE_WORDS = (
    (Role.OWNER.value, "Owner: everything, accounts and costs too"),
    (Role.MAKER.value, "Maker: stock, recipes and batches"),
    (Role.VIEWER.value, "Viewer: looks, changes nothing"),
)


class OwnerForm(forms.Form):
    """Name and password of the one who starts the studio."""

    name = forms.CharField(
        max_length=150,
        help_text="You sign in with it. Letters, digits and @ . + - _ are possible.",
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    password = forms.CharField(
        max_length=1000,
        strip=False,
        help_text="At least 8 characters, not only digits, not a common one.",
        widget=forms.PasswordInput(render_value=True, attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="The password once more",
        max_length=1000,
        strip=False,
        widget=forms.PasswordInput(render_value=True, attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given = self.cleaned_data
        if "again" in given and given["again"] != given.get("password"):
            self.add_error("again", "The two passwords differ: write the same one twice.")
        return given


class RoleForm(forms.Form):
    """What an account may do."""

    role = forms.ChoiceField(choices=ROLE_WORDS, widget=forms.RadioSelect)
    may_see_costs = forms.BooleanField(
        required=False, label="May see and set costs and prices", help_text="Owners always may."
    )


class NewPersonForm(RoleForm, OwnerForm):
    """A new account."""

    field_order = ("name", "password", "again", "role", "may_see_costs")


class PersonForm(RoleForm):
    """An account that is there."""

    active = forms.BooleanField(
        required=False,
        label="May sign in",
        help_text="Without this, sessions and tokens of this account are no good.",
    )


@page(Capability.ANYONE)
def first_owner(request: HttpRequest) -> HttpResponse:
    """The studio's first account, while there is none."""
    if accounts.has_accounts():
        return redirect("overview")
    form = OwnerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            account = accounts.add_first_owner(
                name=form.cleaned_data["name"], password=form.cleaned_data["password"]
            )
            login(request, account)
            return see_other(request, "start-page")
    return form_page(request, "studio/first_owner.html", {"form": form})


@page(Capability.ADMIN, methods=GET)
def people(request: HttpRequest) -> HttpResponse:
    """Everybody with an account."""
    return render(request, "studio/people/people.html", {"people": accounts.people()})


@page(Capability.ADMIN)
def add_person(request: HttpRequest) -> HttpResponse:
    """A new account."""
    form = NewPersonForm(request.POST or None, initial={"role": Role.MAKER.value})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        with faults_on(form):
            accounts.add_account(
                name=given["name"],
                password=given["password"],
                role=Role(given["role"]),
                may_see_costs=given["may_see_costs"],
            )
            messages.success(request, f"{given['name']} can sign in now. Tell them the password.")
            return see_other(request, "people-page")
    return form_page(request, "studio/people/person.html", {"form": form, "name": ""})


@page(Capability.ADMIN)
def change_person(request: HttpRequest, account_id: int) -> HttpResponse:
    """Role, costs and whether the account is good."""
    known = accounts.person_by_id(account_id)
    initial = {
        "role": (known.role or Role.VIEWER).value,
        "may_see_costs": known.may_see_costs,
        "active": known.active,
    }
    form = PersonForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        with faults_on(form):
            accounts.change_account(
                account_id,
                role=Role(given["role"]),
                may_see_costs=given["may_see_costs"],
                active=given["active"],
            )
            messages.success(request, f"{known.name} is changed.")
            return see_other(request, "people-page")
    context = {"form": form, "name": known.name, "person": known}
    return form_page(request, "studio/people/person.html", context)
