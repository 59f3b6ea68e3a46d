"""Settings: how one person sees things, the password, and what the studio is set to."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.models import Preference
from studio.web import accounts
from studio.web.pages.forms import form_page, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who


class PreferenceForm(forms.ModelForm):  # type: ignore[type-arg]
    """What one person likes."""

    class Meta:
        model = Preference
        fields = ("units", "dates", "theme")
        labels = {"units": "Units", "dates": "Days", "theme": "Light or dark"}
        help_texts = {
            "units": "What you type may be in any unit; this is what is shown large.",
            "dates": "How days are written.",
        }
        widgets = dict.fromkeys(fields, forms.RadioSelect)


def studio_facts() -> list[tuple[str, str, str]]:
    """What the studio is set to: the name of the variable, what it means, its value."""
    return [
        ("STUDIO_NAME", "Name on pages and papers", settings.STUDIO_NAME),
        ("STUDIO_ADDRESS", "Address on letters", settings.STUDIO_ADDRESS or "not set"),
        ("STUDIO_CURRENCY", "Currency of the books", settings.STUDIO_CURRENCY),
        ("STUDIO_LOCALE", "How numbers and money are written", settings.STUDIO_LOCALE),
        ("STUDIO_URL", "Where scanned labels lead", settings.STUDIO_URL),
        ("STUDIO_MAIL_TO", "Who gets alerts", ", ".join(settings.STUDIO_MAIL_TO) or "nobody"),
    ]


@page(Capability.SIGNED_IN)
def my_settings(request: HttpRequest) -> HttpResponse:
    """What one person likes, and the ways to everything else that can be set."""
    kept = preferences_of(request.user)
    form = PreferenceForm(request.POST or None, instance=kept)
    if request.method == "POST" and form.is_valid():
        Preference.objects.update_or_create(user=who(request), defaults=form.cleaned_data)
        messages.success(request, "Saved. This is how you see things from now on.")
        return see_other(request, "settings")
    return form_page(
        request, "studio/people/settings.html", {"form": form, "facts": studio_facts()}
    )


@page(Capability.SIGNED_IN)
def change_password(request: HttpRequest) -> HttpResponse:
    """A new password; this session stays, all others end."""
    user: Any = request.user
    form = PasswordChangeForm(user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.save()
        update_session_auth_hash(request, user)
        messages.success(request, "Your password is changed. Other sessions have ended.")
        return see_other(request, "settings")
    return form_page(request, "studio/people/password.html", {"form": form})


@page(Capability.SIGNED_IN)
def my_tokens(request: HttpRequest) -> HttpResponse:
    """Tokens for programs; making one shows it this once."""
    made = ""
    if request.method == "POST":
        made = accounts.make_token(request.user)
    context = {"made": made, "tokens": accounts.tokens_of(request.user)}
    return render(request, "studio/people/tokens.html", context)


@page(Capability.SIGNED_IN, methods=("POST",))
def end_token(request: HttpRequest) -> HttpResponse:
    """A token is no good from now on."""
    try:
        accounts.end_token(request.user, key=request.POST.get("key", "")[:100].replace("\0", ""))
    except Refusal as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(request, "That token is no good any more.")
    return see_other(request, "tokens-page")
