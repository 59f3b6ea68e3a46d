"""One message to another program, by the standard library: no redirects, no proxies, no waiting."""

import http.client
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit
from urllib.request import (
    HTTPDefaultErrorHandler,
    HTTPErrorProcessor,
    HTTPHandler,
    HTTPSHandler,
    OpenerDirector,
    Request,
)

from studio.foundation.errors import Refusal
from studio.work.webhooks.signing import check_address, check_url

#: Seconds for each step of a connection; a program takes a message at once and works on it later.
PATIENCE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came back: the status, if any, and what went wrong in words."""

    status: int | None = None
    trouble: str = ""

    @property
    def taken(self) -> bool:
        """Whether the other program took the message: any 2xx, as the specification has it."""
        return self.status is not None and 200 <= self.status < 300


class _AsItCame(HTTPErrorProcessor):
    """Hands every answer back as it came: a redirect is no reason to send elsewhere."""

    def http_response(self, request: Request, response: Any) -> Any:
        return response

    https_response = http_response


def _opener() -> OpenerDirector:
    # Not build_opener: that one reads files and FTP, follows redirects and obeys proxies too.
    opener = OpenerDirector()
    for handler in (HTTPHandler(), HTTPSHandler(), HTTPDefaultErrorHandler(), _AsItCame()):
        opener.add_handler(handler)
    return opener


def post(url: str, *, body: bytes, headers: Mapping[str, str]) -> Answer:
    """Send JSON to an address. Never raises for what the network or the other side does."""
    try:
        check_url(url)
        _check_host(url)
        request = Request(
            url,
            data=body,
            method="POST",
            headers={**headers, "content-type": "application/json", "user-agent": "soap-studio"},
        )
        with _opener().open(request, timeout=PATIENCE) as response:
            status = int(response.status)
    except (OSError, http.client.HTTPException, ssl.SSLError, ValueError, Refusal) as error:
        return Answer(trouble=f"{type(error).__name__}: {error}"[:200])
    if 200 <= status < 300:
        return Answer(status=status)
    return Answer(status=status, trouble=f"The other program answered {status}.")


def _check_host(url: str) -> None:
    """Raise WebhookRefusal if the name leads to an address that messages are not sent to."""
    parts = urlsplit(url)
    port = parts.port or {"http": 80, "https": 443}[parts.scheme]
    for *_, address in socket.getaddrinfo(parts.hostname, port, type=socket.SOCK_STREAM):
        check_address(str(address[0]))
