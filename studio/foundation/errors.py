"""Refusals: what the trade's rules answer when something can't be done.

Every rule of the project refuses by raising a subclass of `Refusal`. A refusal carries one or
more `Fault`s, so that a person who made three mistakes hears of all three at once. Each subclass
has a stable `code` and a `kind`; only `studio.web.problems` knows which HTTP status a kind becomes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from enum import StrEnum
from types import MappingProxyType
from typing import Any, ClassVar, Self

NOTHING: Mapping[str, Any] = MappingProxyType({})


class Kind(StrEnum):
    """What sort of refusal it is; the edge turns it into a status."""

    INVALID = "invalid"
    CONFLICT = "conflict"
    NOT_FOUND = "not-found"
    FORBIDDEN = "forbidden"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    `code` is stable and for programs; `message` says in a maker's words what is wrong and what
    would be right; `field` is a dotted path ("lines.2.quantity") or empty; `details` holds values
    that JSON can carry.
    """

    code: str
    message: str
    field: str = ""
    details: Mapping[str, Any] = dataclass_field(default_factory=lambda: NOTHING)


class Refusal(Exception):
    """Base of all refusals. Raise with one message, or with the faults found together."""

    code: ClassVar[str] = "refused"
    kind: ClassVar[Kind] = Kind.INVALID
    title: ClassVar[str] = "Refused"

    def __init__(
        self,
        message: str = "",
        *,
        field: str = "",
        faults: Iterable[Fault] = (),
        details: Mapping[str, Any] = NOTHING,
    ) -> None:
        found = tuple(faults)
        if not found:
            found = (Fault(self.code, message or self.title, field, details),)
        self.faults: tuple[Fault, ...] = found
        super().__init__("; ".join(fault.message for fault in found))

    def under(self, prefix: str) -> Self:
        """The same refusal with `prefix` put before the path of each fault."""
        moved = (
            Fault(f.code, f.message, f"{prefix}.{f.field}" if f.field else prefix, f.details)
            for f in self.faults
        )
        return type(self)(faults=moved)


class InvalidInput(Refusal):
    """What was given cannot be read or is outside its limits."""

    code = "invalid-input"
    title = "The input cannot be used as it stands"


class NotFound(Refusal):
    """Something that was named does not exist here."""

    code = "not-found"
    kind = Kind.NOT_FOUND
    title = "Nothing here has that name"


class StateConflict(Refusal):
    """It exists, but its present state does not allow what was asked."""

    code = "state-conflict"
    kind = Kind.CONFLICT
    title = "Its present state does not allow that"


class Faults:
    """Collects faults so that all of them are told at once."""

    def __init__(self) -> None:
        self._found: list[Fault] = []

    def add(self, code: str, message: str, field: str = "", **details: Any) -> None:
        self._found.append(Fault(code, message, field, details))

    def take(self, refusal: Refusal, under: str = "") -> None:
        """Keep the faults of a refusal that was caught, below the path `under`."""
        self._found.extend((refusal.under(under) if under else refusal).faults)

    def __bool__(self) -> bool:
        return bool(self._found)

    @property
    def found(self) -> tuple[Fault, ...]:
        """The faults so far, in the order they were found."""
        return tuple(self._found)

    def raise_if_any(self, refusal: type[Refusal] = InvalidInput) -> None:
        if self._found:
            raise refusal(faults=self._found)
