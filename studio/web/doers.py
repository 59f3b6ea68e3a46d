"""Middleware: what a request changes names whoever is signed in, by page or by token."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from studio.foundation.doers import acting


class NamesTheDoer:
    """Stands below the one that knows sessions; a token is read later, by the API's frame, which
    then says so on the same request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._answer = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with acting(lambda: request.user if request.user.is_authenticated else None):
            return self._answer(request)
