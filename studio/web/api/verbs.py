"""Verbs of viewsets: what an action needs, is given and answers, said where it stands.

    @verb(Capability.PLAN, given=ReserveSerializer, answer=ReservationSerializer, status=201)
    def reserve(self, request, code, given):
        '''Reserve what the batch needs.'''
        return reserve_batch(code, by=caller(request), **given)

`given` is the body as read, all its faults told at once; a verb without it is sent {}. What is
returned is answered by `answer`, else by the viewset's serializer.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from studio.web.api.serializers import StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.permissions import Rule

Handler = Callable[..., Any]
SerializerClass = type[serializers.BaseSerializer[Any]]


class NothingSerializer(StrictSerializer):
    """Nothing is asked for: send {}."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """What is said of an action; an answer of None is that of the viewset."""

    rule: Rule
    given: SerializerClass | None = None
    answer: SerializerClass | None = None
    status: int = 200


def verb_of(view: Any, name: str | None) -> Verb | None:
    """What is said of an action of a view (or of its class), where it is a verb."""
    return getattr(getattr(view, name or "", None), "verb", None)


def _path_of(handler: Handler) -> str:
    return handler.__name__.replace("_", "-")


def verb(
    rule: Rule,
    *,
    given: SerializerClass | None = None,
    answer: SerializerClass | None = None,
    status: int = 200,
    detail: bool = True,
    path: str | None = None,
    once: bool = True,
    read: Callable[..., Any] | None = None,
) -> Callable[[Handler], Any]:
    """A POST, done once for its Idempotency-Key unless `once` is false. Named `create` it is that
    of the list; else its address ends in its name, or in `path`. `read(view, request, **names)`
    reads a body that the serializer alone cannot judge."""

    def decorate(handler: Handler) -> Any:
        @wraps(handler)
        def done(view: Any, request: Request, **kwargs: Any) -> Response:
            body = (
                view.read(request, given or NothingSerializer)
                if read is None
                else read(view, request, **kwargs)
            )
            if given is not None:
                kwargs["given"] = body
            shown = handler(view, request, **kwargs)
            return shown if isinstance(shown, Response) else view.answer(shown)

        run: Any = stock_changing(done) if once else done
        run.verb = Verb(rule=rule, given=given or NothingSerializer, answer=answer, status=status)
        if run.__name__ == "create":
            return run
        return action(methods=["post"], detail=detail, url_path=path or _path_of(handler))(run)

    return decorate


def look(
    rule: Rule, *, answer: SerializerClass | None = None, path: str | None = None
) -> Callable[[Handler], Any]:
    """A GET of one row by another address of its own."""

    def decorate(handler: Handler) -> Any:
        @wraps(handler)
        def shown(view: Any, request: Request, **kwargs: Any) -> Response:
            found = handler(view, request, **kwargs)
            return found if isinstance(found, Response) else view.answer(found)

        shown.verb = Verb(rule=rule, answer=answer)  # type: ignore[attr-defined]
        return action(methods=["get"], detail=True, url_path=path or _path_of(handler))(shown)

    return decorate
