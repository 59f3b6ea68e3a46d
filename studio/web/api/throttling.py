"""How often a sign-in may be tried, by address and by account name."""

from typing import Any

from rest_framework.throttling import SimpleRateThrottle


class SignInByAddress(SimpleRateThrottle):
    """Tries from one network address."""

    scope = "sign-in-address"

    def get_cache_key(self, request: Any, view: Any) -> str | None:
        return f"{self.scope}:{self.get_ident(request)}" if request.method == "POST" else None


class SignInByName(SimpleRateThrottle):
    """Tries for one account name, from wherever."""

    scope = "sign-in-name"

    def get_cache_key(self, request: Any, view: Any) -> str | None:
        if request.method != "POST":
            return None
        given = getattr(request, "data", None) or request.POST
        name = given.get("username", "") if hasattr(given, "get") else ""
        return f"{self.scope}:{str(name)[:150].casefold().encode().hex()}"


SIGN_IN = (SignInByAddress, SignInByName)


def sign_in_wait(request: Any, view: Any) -> float | None:
    """Seconds to wait before the next try, or None when it may be made now."""
    waits = [
        one.wait() for one in (cls() for cls in SIGN_IN) if not one.allow_request(request, view)
    ]
    return max((wait or 1.0 for wait in waits), default=None)
