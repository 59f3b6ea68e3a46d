"""The sorts of problem that are not a rule of the trade: the framework's, the database's, ours."""

from collections.abc import Mapping
from dataclasses import dataclass

from rest_framework import exceptions


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One row of the table: a stable code, its status, and what it means."""

    code: str
    status: int
    title: str
    meaning: str

    @property
    def url(self) -> str:
        return f"/api/problems/{self.code}/"


# What the framework raises, and what becomes of it.
FRAMEWORK: Mapping[type[BaseException], ProblemType] = {
    exceptions.ValidationError: ProblemType(
        "invalid-fields",
        400,
        "Some fields cannot be used as they stand",
        "Each entry of `errors` names a field, what is wrong with it and what would be right.",
    ),
    exceptions.ParseError: ProblemType(
        "unreadable", 400, "The body cannot be read", "The body must be one JSON object in UTF-8."
    ),
    exceptions.NotAuthenticated: ProblemType(
        "not-signed-in",
        401,
        "Sign in first",
        "Send `Authorization: Token ...` (from POST /api/v1/auth/token/) or a session.",
    ),
    exceptions.AuthenticationFailed: ProblemType(
        "sign-in-failed",
        401,
        "The sign-in was not accepted",
        "The name, password or token is wrong, or has expired.",
    ),
    exceptions.PermissionDenied: ProblemType(
        "not-allowed",
        403,
        "Your role does not allow that",
        "An owner of the studio decides who has which role, and who may see costs.",
    ),
    exceptions.MethodNotAllowed: ProblemType(
        "method-not-allowed",
        405,
        "That cannot be done here",
        "The `Allow` header names the methods of this address.",
    ),
    exceptions.NotAcceptable: ProblemType(
        "not-acceptable", 406, "Answers are JSON only", "Ask for application/json."
    ),
    exceptions.UnsupportedMediaType: ProblemType(
        "unsupported-media-type", 415, "Bodies are JSON only", "Send application/json."
    ),
    exceptions.Throttled: ProblemType(
        "too-many-tries",
        429,
        "Too many tries",
        "Wait as many seconds as the `Retry-After` header says.",
    ),
}
UNIQUE_CLASH = ProblemType(
    "already-taken",
    409,
    "That is already taken",
    "Another row has the same code or name, which must be unique.",
)
IN_USE = ProblemType(
    "in-use", 409, "Other records rely on it", "It cannot go while other records name it."
)
GUARD = ProblemType(
    "guard-refused",
    409,
    "The books refused that change",
    "A guard of the database held: the change would have broken the books, so nothing was kept.",
)
OUT_OF_RANGE = ProblemType(
    "out-of-range", 400, "A value is too large to keep", "A number or text is beyond its limits."
)
TOO_LARGE = ProblemType(
    "too-large", 413, "The body is too large", "Send less at once, in several requests."
)
BAD_REQUEST = ProblemType(
    "bad-request", 400, "The request cannot be understood", "Its address or headers are not valid."
)
BUSY = ProblemType(
    "busy",
    503,
    "The books are busy",
    "Another writer held them too long. Nothing was changed: send the same request again, "
    "with the same Idempotency-Key.",
)
FAILED = ProblemType(
    "failed",
    500,
    "The studio failed",
    "A fault of the program, written to its log. Nothing of the request was kept.",
)
OTHERS = (UNIQUE_CLASH, IN_USE, GUARD, OUT_OF_RANGE, TOO_LARGE, BAD_REQUEST, BUSY, FAILED)
