"""Updates that overwrite nothing unseen: ETag and If-Match (RFC 9110, section 13.1.1).

The ETag of a master-data row is its revision in quotes, `"3"`. A client sends back the ETag it
read; `*` stands for "whatever is there now".
"""

import re
from typing import Any

from django.http import HttpResponse
from rest_framework.request import Request

from studio.web.problems import EdgeRefusal

HOW = 'Read it first, then send a header `If-Match` with the ETag of that answer, such as "3".'
LIST_OF_TAGS = re.compile(r'\s*(?:W/)?"[\x21\x23-\x7e]*"\s*(?:,\s*(?:W/)?"[\x21\x23-\x7e]*"\s*)*')
REVISION = re.compile(r'"([1-9][0-9]{0,9})"', re.ASCII)
TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e]*"')


class MatchMissing(EdgeRefusal):
    """A change must say which version it was made from, so that nobody's work is overwritten."""

    status_code = 428
    code = "if-match-missing"
    title = "An update needs If-Match"


class MatchUnreadable(EdgeRefusal):
    """If-Match holds one or more ETags in double quotes, or an asterisk."""

    code = "if-match-unreadable"
    title = "The If-Match header cannot be read"


class Stale(EdgeRefusal):
    """Somebody changed it since it was read: read it again and repeat the change."""

    status_code = 412
    code = "stale"
    title = "It was changed since you read it"


def etag(instance: Any) -> str:
    """The ETag of a row with a `revision`."""
    return f'"{instance.revision}"'


def set_etag(response: HttpResponse, instance: Any) -> None:
    """Put the ETag on an answer that shows `instance`; nothing when it has no revision."""
    if getattr(instance, "revision", None) is not None:
        response.headers["ETag"] = etag(instance)


def read_if_match(request: Request) -> str:
    """The If-Match header; raises MatchMissing or MatchUnreadable."""
    value = request.headers.get("If-Match")
    if value is None:
        raise MatchMissing(HOW)
    if value.strip() != "*" and not LIST_OF_TAGS.fullmatch(value):
        raise MatchUnreadable(HOW)
    return value.strip()


def expected_of(if_match: str) -> frozenset[int] | None:
    """The revisions that an If-Match accepts; None for any. A weak ETag never matches."""
    if if_match == "*":
        return None
    tags = (REVISION.fullmatch(tag) for tag in TAG.findall(if_match))
    return frozenset(int(tag[1]) for tag in tags if tag)


def require_match(if_match: str, instance: Any) -> None:
    """Raise Stale unless the row is the one that was read. Call it on the locked row.

    Comparison is strong: a weak ETag (`W/"3"`) never matches.
    """
    if if_match != "*" and etag(instance) not in TAG.findall(if_match):
        raise Stale(f"Its ETag is now {etag(instance)}: read it again, then repeat your change.")
