"""The build fails when an endpoint of the API has no rule of who may use it."""

from collections.abc import Iterator
from typing import Any

from django.core.checks import CheckMessage, Error
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.views import APIView

from studio.web.api.views import StudioView
from studio.web.permissions import unruled

# Views of libraries that show no business facts.
OPEN_LIBRARIES = ("drf_spectacular.",)


def routed_views(patterns: Any = None) -> Iterator[tuple[type, dict[str, str] | None]]:
    """Every view class of the framework that has an address, with its actions by method."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from routed_views(pattern.url_patterns)
        elif isinstance(pattern, URLPattern):
            view = getattr(pattern.callback, "cls", None)
            if isinstance(view, type) and issubclass(view, APIView):
                yield view, getattr(pattern.callback, "actions", None)


def rule_errors(patterns: Any = None) -> list[CheckMessage]:
    """One error for each view outside the frame and each action without a rule."""
    found: list[CheckMessage] = []
    for view, actions in routed_views(patterns):
        if view.__module__.startswith(OPEN_LIBRARIES):
            continue
        if not issubclass(view, StudioView):
            found.append(
                Error(
                    "API view outside the frame: derive it from StudioView.",
                    obj=view,
                    id="studio.E002",
                )
            )
            continue
        found += [
            Error(
                f"Action '{name}' has no rule: nobody may call it.",
                hint="Name the capability that it needs in `rules`.",
                obj=view,
                id="studio.E001",
            )
            for name in unruled(view, actions)
        ]
    return found


def every_action_has_a_rule(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """System check over all addresses."""
    return rule_errors()
