"""Who asks: people, and programs with tokens of which only a digest is kept."""

from typing import Any

import knox.auth
from rest_framework import exceptions
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request

from studio.foundation.doers import Doer


def caller(request: Request) -> Doer:
    """The account behind a request that changes something. Raises NotAuthenticated."""
    if request.user.is_anonymous:
        raise NotAuthenticated
    return request.user


class TokenAuthentication(knox.auth.TokenAuthentication):  # type: ignore[misc]
    """`Authorization: Token ...`; a token that is not ASCII is refused like any wrong one."""

    def authenticate_credentials(self, token: bytes) -> Any:
        if not token.isascii() or b"\x00" in token:
            raise exceptions.AuthenticationFailed("Invalid token.")
        return super().authenticate_credentials(token)
