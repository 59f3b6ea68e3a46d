"""`@stock_changing`: a POST that changes stock happens once for one Idempotency-Key."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import transaction
from django.http import HttpResponse
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from studio.foundation.roles import may_see_costs
from studio.web import idempotency
from studio.web.problems import problem_for

REPLAYED = "Idempotent-Replayed"
Action = Callable[..., Response]


class _Refused(Exception):
    """Carries a refusing answer out of the savepoint that undoes its effect."""

    def __init__(self, response: Response) -> None:
        self.response = response


def stock_changing(action: Action) -> Callable[..., HttpResponse]:
    """Decorate an action of a StudioViewSet; put it below `@action`.

    The action runs in a transaction together with the record of its answer; what it refuses is
    rolled back and its answer kept. See `studio.web.idempotency` for the rules.
    """

    @wraps(action)
    def once(view: Any, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.user.pk is None:  # a key belongs to an account
            raise NotAuthenticated
        asked = idempotency.asked(
            user_id=request.user.pk,
            key=idempotency.read_key(request.headers.get("Idempotency-Key")),
            method=request.method or "POST",
            path=request.get_full_path(),
            body=request.body,
            sees_costs=may_see_costs(request.user),
        )
        with transaction.atomic():
            earlier = idempotency.earlier_answer(asked)
            if earlier is not None:
                return _replayed(earlier)
            response = _run(action, view, request, *args, **kwargs)
            view.finalize_response(request, response)
            response.render()
            idempotency.keep_answer(
                asked,
                status=response.status_code,
                headers=response.headers,
                body=response.content,
            )
            return response

    once.stock_changing = True  # type: ignore[attr-defined]
    return once


def _run(action: Action, view: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
    try:
        with transaction.atomic():
            response = action(view, request, *args, **kwargs)
            if response.status_code >= 400:
                raise _Refused(response)
    except _Refused as refused:
        return refused.response
    except Exception as error:
        problem = problem_for(error)
        if problem is None or problem.type.status >= 500:
            raise
        return problem.response()
    return response


def _replayed(record: Any) -> HttpResponse:
    response = HttpResponse(bytes(record.body), status=record.status, headers=record.headers)
    response.headers[REPLAYED] = "true"
    return response
