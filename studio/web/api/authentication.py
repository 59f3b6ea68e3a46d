"""Sign-in of programs: tokens of which only a digest is kept."""

from typing import Any

import knox.auth
from rest_framework import exceptions


class TokenAuthentication(knox.auth.TokenAuthentication):  # type: ignore[misc]
    """`Authorization: Token ...`; a token that is not ASCII is refused like any wrong one."""

    def authenticate_credentials(self, token: bytes) -> Any:
        if not token.isascii() or b"\x00" in token:
            raise exceptions.AuthenticationFailed("Invalid token.")
        return super().authenticate_credentials(token)
