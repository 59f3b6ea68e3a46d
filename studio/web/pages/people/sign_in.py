"""Sign-in and sign-out of people, with Django's own views and a bound on tries."""

from typing import Any, cast

from django.contrib.auth.views import LoginView, LogoutView, redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from studio.foundation.roles import Capability
from studio.web.api.throttling import sign_in_wait
from studio.web.pages.ruled import GET, page


class SignIn(LoginView):
    """Name and password; too many tries must wait."""

    template_name = "studio/people/sign_in.html"
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        wait = sign_in_wait(request, self)
        if wait is None:
            return super().post(request, *args, **kwargs)
        form = self.get_form()
        form.full_clean()
        form.errors.clear()
        form.add_error(None, f"Too many tries. Wait {int(wait) + 1} seconds, then try again.")
        response: HttpResponse = self.render_to_response(self.get_context_data(form=form))
        response.status_code = 429
        response.headers["Retry-After"] = str(int(wait) + 1)
        return response


class SignOut(LogoutView):
    """Ends the session; by POST only."""

    http_method_names = ["post", "options"]


@page(Capability.ANYONE)
def sign_in(request: HttpRequest) -> HttpResponse:
    """The form, and the session that it begins."""
    return cast(HttpResponse, SignIn.as_view()(request))


@page(Capability.ANYONE, methods=("POST",))
def sign_out(request: HttpRequest) -> HttpResponse:
    """The end of the session."""
    return SignOut.as_view()(request)


@page(Capability.ANYONE, methods=GET)
def admin_sign_in(request: HttpRequest) -> HttpResponse:
    """The admin site has no form of its own: one sign-in, one bound on tries.

    Who is signed in and no staff is told so here: sign-in would send them back at once.
    """
    if request.user.is_authenticated and not request.user.is_staff:
        raise PermissionDenied(
            "The admin site is for staff: sign out, then sign in as one of them."
        )
    return redirect_to_login(request.GET.get("next") or reverse("admin:index"))
