"""Who may call what. An endpoint without a rule is closed, and the build says so.

Each view declares `rules`: the capability that an action needs ("list", "create", "reserve"; for
a view that is no viewset the method, "get", "post"), or a tuple of capabilities that it needs all
of. Rules are inherited and may be replaced by a subclass. Which role has which capability stands
in one table, `studio.foundation.roles.CAPABILITIES`.

Costs and prices: whoever lacks `see_costs` neither sees nor sets them. Serializers name such
fields in `cost_fields`; endpoints that are about cost alone need the capability.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from rest_framework import exceptions
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from studio.foundation.roles import Capability, capabilities_of

Rule = Capability | tuple[Capability, ...]
Rules = Mapping[str, Rule]

NO_ROLE = "Your account has no role in this studio: ask an owner for one."


def rules_of(view: type) -> dict[str, Rule]:
    """The rules of a view class: its own over those of its bases."""
    rules: dict[str, Rule] = {}
    for cls in reversed(view.__mro__):
        rules.update(vars(cls).get("rules", {}))
    return rules


def needed(view: type, action: str) -> frozenset[Capability] | None:
    """The capabilities that an action of a view needs; None when it has no rule."""
    verb = getattr(getattr(view, action, None), "verb", None)
    rule = rules_of(view).get(action) if verb is None else verb.rule
    if rule is None:
        return None
    return frozenset({rule} if isinstance(rule, Capability) else rule)


def action_of(view: Any, method: str) -> str | None:
    """The action that a request asks for; None when the view has none for that method."""
    if hasattr(view, "action_map"):
        return getattr(view, "action", None)
    name = "get" if method == "HEAD" else method.lower()
    return name if name != "options" and hasattr(view, name) else None


class RuledByTable(BasePermission):
    """Opens an action to those whose role has what its rule asks for."""

    def has_permission(self, request: Request, view: Any) -> bool:
        action = action_of(view, request.method or "GET")
        if action is None or action == "metadata":
            return True  # nothing will run: the view answers 405
        wanted = needed(type(view), action)
        if wanted is None:
            raise exceptions.PermissionDenied("Nobody may do this yet: it has no rule.")
        able = capabilities_of(request.user)
        missing = wanted - able
        if not missing:
            return True
        if not request.user.is_authenticated:
            return False  # the framework answers 401
        if Capability.READ not in able:
            raise exceptions.PermissionDenied(NO_ROLE)
        raise exceptions.PermissionDenied(refusal_for(missing))


def refusal_for(missing: frozenset[Capability]) -> str:
    """Why those who lack these capabilities may not, in words."""
    if missing == {Capability.SEE_COSTS}:
        return "This shows costs or prices, which an owner has not opened to you."
    names = ", ".join(sorted(missing))
    return f"Your role does not cover this ({names}). An owner can do it or change your role."


def unruled(view: type, actions: Mapping[str, str] | None) -> Iterator[str]:
    """The actions of a routed view that have no rule."""
    if actions is None:
        names = [m for m in ("get", "post", "put", "patch", "delete") if hasattr(view, m)]
    else:
        names = list(actions.values())
    yield from sorted({name for name in names if needed(view, name) is None})
