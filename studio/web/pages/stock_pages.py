"""`@page(rule, once=True)`: a form that changes stock does so once, however often it is sent.

The form carries a hidden key, `{% once %}`; its effect and the record of its answer are one
transaction (see `studio.web.idempotency`). Only an answer that did something is kept: a form that
comes back with errors (422) is undone, and holds a new key. A GET goes straight through.
"""

import hashlib
import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.roles import may_see_costs
from studio.models import IdempotencyRecord
from studio.web import idempotency
from studio.web.problems import EdgeRefusal

ONCE = "once"
#: Differ each time a form is shown, and say nothing about what is asked.
NOT_ASKED = frozenset({"csrfmiddlewaretoken", ONCE})
View = Callable[..., HttpResponse]


def stock_page(view: View) -> View:
    """Have the POST of a page done once; said by `once` of `@page`."""

    @wraps(view)
    def once(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.method != "POST":
            return view(request, *args, **kwargs)
        try:
            return _once(view, request, *args, **kwargs)
        except EdgeRefusal as refusal:
            return render(
                request,
                "studio/sent_already.html",
                {"refusal": refusal},
                status=refusal.status_code,
            )

    return once


def _once(view: View, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    sent = request.headers.get("Idempotency-Key") or request.POST.get(ONCE)
    asked = idempotency.asked(
        user_id=int(request.user.pk or 0),
        key=idempotency.read_key(sent),
        method="POST",
        path=request.get_full_path(),
        body=_content(request),
        sees_costs=may_see_costs(request.user),
    )
    with transaction.atomic():
        earlier = idempotency.earlier_answer(asked)
        if earlier is not None:
            return _replayed(earlier)
        point = transaction.savepoint()
        response = view(request, *args, **kwargs)
        if response.status_code >= 400:
            transaction.savepoint_rollback(point)
            return response
        transaction.savepoint_commit(point)
        idempotency.keep_answer(
            asked,
            status=response.status_code,
            headers=response.headers,
            body=response.content,
        )
        return response


def _content(request: HttpRequest) -> bytes:
    """What was asked, whatever the encoding of the form."""
    fields = sorted(
        (name, values) for name, values in request.POST.lists() if name not in NOT_ASKED
    )
    files = [
        (name, file.name, hashlib.sha256(b"".join(file.chunks())).hexdigest())
        for name, held in sorted(request.FILES.lists())
        for file in held
    ]
    for _, held in request.FILES.lists():
        for file in held:
            file.seek(0)
    return json.dumps([fields, files]).encode()


def _replayed(record: IdempotencyRecord) -> HttpResponse:
    response = HttpResponse(bytes(record.body), status=record.status, headers=record.headers)
    response.headers["Idempotent-Replayed"] = "true"
    return response
