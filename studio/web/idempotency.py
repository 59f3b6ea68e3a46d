"""One effect for one key, however often a request is sent.

A client names each stock-changing request with an `Idempotency-Key`. The answer is kept in the
transaction of the effect itself, so either both are there or neither:

- the same key with the same method, address and body: the first answer again, byte for byte,
  marked `Idempotent-Replayed: true`;
- the same key with anything else, or with other leave to see costs: refused (422);
- the same key while the first request still runs: refused (409) on PostgreSQL, where a lock of
  the transaction on the key is tried. On SQLite there is one writer at a time: the second request
  waits for the first and replays its answer.

An answer below 500 that the action itself gave is final and kept, a refusal too (its effect is
rolled back, its record is not): a copy of the request that was delayed in the network must not
succeed later. To try again after mending the cause, send a new key. Not kept: what is refused
before the action begins (sign-in, role, missing key), and failures (500 and above), which left
nothing behind and may be sent again with the same key.

A key belongs to its user. Two queries: look up and keep (three on PostgreSQL, with the lock).
"""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection

from studio.models import IdempotencyRecord
from studio.web.problems import EdgeRefusal

KEEP_FOR = timedelta(days=7)
KEPT_HEADERS = ("Content-Type", "Location", "ETag", "HX-Redirect", "HX-Trigger", "HX-Push-Url")
VISIBLE = re.compile(r"[\x21-\x7e]{1,200}")
HOW = (
    "Send a header `Idempotency-Key` with text of your own (1 to 200 visible ASCII characters, "
    "for example a UUID), new for each thing to be done and the same when you send it again: "
    "it is then done once."
)


class KeyMissing(EdgeRefusal):
    """A request that changes stock must carry an Idempotency-Key, so that it is done once."""

    code = "idempotency-key-missing"
    title = "This changes stock: an Idempotency-Key is needed"


class KeyUnreadable(EdgeRefusal):
    """An Idempotency-Key is 1 to 200 visible ASCII characters, without spaces."""

    code = "idempotency-key-unreadable"
    title = "The Idempotency-Key cannot be used"


class KeyReused(EdgeRefusal):
    """The Idempotency-Key was sent before with another body, to another address, or when its
    answer could show you other costs."""

    status_code = 422
    code = "idempotency-key-reused"
    title = "That Idempotency-Key belongs to another request"


class StillRunning(EdgeRefusal):
    """The first request with this Idempotency-Key has not been answered yet."""

    status_code = 409
    code = "idempotency-key-in-use"
    title = "The first request with that Idempotency-Key still runs"


@dataclass(frozen=True, slots=True)
class Asked:
    """What makes two requests the same one."""

    user_id: int
    key: str
    method: str
    path: str
    body_digest: str

    def same_as(self, record: IdempotencyRecord) -> bool:
        return (self.method, self.path, self.body_digest) == (
            record.method,
            record.path,
            record.body_digest,
        )


def read_key(value: str | None) -> str:
    """The key in a header value; raises KeyMissing or KeyUnreadable."""
    if not value:
        raise KeyMissing(HOW)
    if not VISIBLE.fullmatch(value):
        raise KeyUnreadable(HOW)
    return value


def asked(
    *, user_id: int, key: str, method: str, path: str, body: bytes, sees_costs: bool
) -> Asked:
    """Describe a request; `path` holds the query string, `body` the bytes as they came.

    Asked by somebody who sees costs it is another one than by somebody who does not: an answer
    kept from before an owner closed them is not replayed.
    """
    digest = hashlib.sha256(b"costs\n" if sees_costs else b"\n")
    digest.update(body)
    return Asked(user_id, key, method, path, digest.hexdigest())


def earlier_answer(request: Asked) -> IdempotencyRecord | None:
    """The answer already given, or None when the caller may go on and owns the key.

    Must be called in the transaction of the effect, before it. Raises StillRunning and KeyReused.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("earlier_answer must be called inside a transaction")
    if connection.vendor == "postgresql" and not _lock(request):
        raise StillRunning("Wait a moment and send it again with the same key.")
    record = IdempotencyRecord.objects.filter(user_id=request.user_id, key=request.key).first()
    if record is not None and not request.same_as(record):
        raise KeyReused("Use a new Idempotency-Key for a new request, or send the first body.")
    return record


def _lock(request: Asked) -> bool:
    named = f"idempotency:{request.user_id}:{request.key}".encode()
    number = int.from_bytes(hashlib.sha256(named).digest()[:8], signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        return bool(cursor.fetchone()[0])


def keep_answer(request: Asked, *, status: int, headers: Mapping[str, Any], body: bytes) -> None:
    """Keep the answer, in the transaction of the effect."""
    IdempotencyRecord.objects.create(
        user_id=request.user_id,
        key=request.key,
        method=request.method,
        path=request.path,
        body_digest=request.body_digest,
        status=status,
        headers={name: headers[name] for name in KEPT_HEADERS if name in headers},
        body=body,
    )


def forget_old_keys(now: datetime, *, keep: timedelta = KEEP_FOR) -> int:
    """Delete answers older than `keep` before `now`; returns how many. Their keys become free."""
    deleted, _ = IdempotencyRecord.objects.filter(created_at__lt=now - keep).delete()
    return deleted
