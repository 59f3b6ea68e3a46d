"""How other programs are told: the signature of a message, and when it is tried again.

Signature and header names follow the Standard Webhooks specification 1.0 (standardwebhooks.com):
HMAC-SHA256 (RFC 2104, FIPS 180-4) over "id.timestamp.body", in base64, as "v1,<signature>".
"""

import base64
import binascii
import hmac
from datetime import timedelta
from hashlib import sha256
from ipaddress import ip_address
from urllib.parse import urlsplit

from studio.foundation.errors import InvalidInput, StateConflict


class WebhookRefusal(InvalidInput):
    """Messages cannot be sent to a target as it is described."""

    code = "webhook-refusal"
    title = "Messages cannot be sent there"


class WebhookDelivered(StateConflict):
    """A message that was taken is not sent again."""

    code = "webhook-delivered"
    title = "That message was already taken"


SECRET_PREFIX = "whsec_"
#: The specification wants keys of 24 to 64 bytes.
KEY_BYTES = 32

FIRST_WAIT = timedelta(minutes=1)
FACTOR = 4
#: With waits of 1, 4, 16, 64, 256 and 1024 minutes the last attempt is made after 22 h 45 min.
MOST_ATTEMPTS = 7


def secret_text(key: bytes) -> str:
    """A key as it is shown to the owner, once: "whsec_" and the key in base64."""
    return SECRET_PREFIX + base64.b64encode(key).decode()


def signature(secret: str, *, event_id: str, timestamp: int, body: bytes) -> str:
    """The signature of one message; `timestamp` is in seconds since 1970 (UTC).

    Raises WebhookRefusal when the secret is none of ours.
    """
    try:
        key = base64.b64decode(secret.removeprefix(SECRET_PREFIX), validate=True)
    except binascii.Error:
        raise WebhookRefusal("The secret cannot be read.", field="secret") from None
    signed = f"{event_id}.{timestamp}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, signed, sha256).digest()).decode()


def wait_after(attempts: int) -> timedelta | None:
    """How long to wait after so many attempts that failed; None when that was the last.

    Each wait is four times the one before. Without jitter: a studio has few targets, and a row
    that says when it is tried next should be true.
    """
    if attempts >= MOST_ATTEMPTS:
        return None
    wait: timedelta = FIRST_WAIT * FACTOR ** (attempts - 1)
    return wait


def check_url(url: str) -> None:
    """Raise WebhookRefusal unless messages may be sent to this address.

    Only http and https to a host, without a name and password in it.
    """
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        raise WebhookRefusal("That address cannot be read.", field="url") from None
    if parts.scheme not in {"http", "https"} or not host:
        raise WebhookRefusal(
            "Give an address that begins with http:// or https:// and names a host.", field="url"
        )
    if parts.username is not None or parts.password is not None:
        raise WebhookRefusal(
            "Leave name and password out of the address: the signature says who sends.",
            field="url",
        )


def check_address(address: str) -> None:
    """Raise WebhookRefusal when a host's IP address is one that no program of a studio has.

    Link-local addresses (169.254.0.0/16, fe80::/10) lead to the services of a hosting machine,
    which give out its keys. Addresses of the own machine and house are allowed: that is where a
    studio's other programs run.
    """
    ip = ip_address(address.partition("%")[0])
    mapped = getattr(ip, "ipv4_mapped", None)
    ip = mapped or ip
    if ip.is_link_local or ip.is_multicast or ip.is_unspecified:
        raise WebhookRefusal(f"Messages are not sent to {address}.", field="url")
