"""Reading what clients send, with limits: bodies, query strings, addresses."""

import json
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any

from rest_framework import exceptions
from rest_framework.parsers import JSONParser
from rest_framework.request import Request

from studio.foundation.errors import Fault
from studio.web.problems import EdgeRefusal

LONGEST_NUMBER = 40
LARGEST_EXPONENT = 30
DEEPEST = 32


class UnreadableText(EdgeRefusal):
    """Text holds a NUL or half of a surrogate pair, which no database keeps."""

    code = "unreadable-text"
    title = "Some text holds characters that cannot be kept"


class UnknownQuery(EdgeRefusal):
    """The address asks for something by a name that is not known here; nothing is ignored."""

    code = "unknown-query"
    title = "The query has parameters that are not known here"


class StrictJSONParser(JSONParser):
    """JSON without its traps: no NaN, no doubled names, bounded numbers and depth.

    Numbers with a fraction become Decimal, so that 0.1 stays 0.1.
    """

    def parse(
        self, stream: Any, media_type: Any = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        try:
            body = stream.read().decode("utf-8")
            return json.loads(
                body,
                object_pairs_hook=_unique_names,
                parse_constant=_no_constant,
                parse_float=_fraction,
                parse_int=_whole,
            )
        except UnicodeDecodeError as error:
            raise exceptions.ParseError("The body is not UTF-8.") from error
        except RecursionError as error:
            raise exceptions.ParseError("The body is nested too deeply.") from error
        except ValueError as error:
            raise exceptions.ParseError(f"The body is not JSON: {error}.") from error


def _unique_names(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        doubled = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"named twice: {', '.join(doubled)}")
    return found


def _no_constant(text: str) -> Any:
    raise ValueError(f"{text} is not a number")


def _whole(text: str) -> int:
    if len(text) > LONGEST_NUMBER:
        raise ValueError("a number has too many digits")
    return int(text)


def _fraction(text: str) -> Decimal:
    number = Decimal(text) if len(text) <= LONGEST_NUMBER else None
    if number is None or abs(number.adjusted()) > LARGEST_EXPONENT:
        raise ValueError("a number is too long or too large")
    return number


def refuse_unreadable_text(body: Any) -> None:
    """Raise UnreadableText naming every text of a parsed body that cannot be kept."""
    faults = tuple(
        Fault(UnreadableText.code, "Holds a NUL or a broken character: take it out.", path)
        for path, text in _texts(body, "", 0)
        if not keepable(text)
    )
    if faults:
        raise UnreadableText(fields=faults)


def _texts(part: Any, path: str, depth: int) -> Iterator[tuple[str, str]]:
    if depth > DEEPEST:
        raise exceptions.ParseError("The body is nested too deeply.")
    if isinstance(part, str):
        yield path, part
    elif isinstance(part, Mapping):
        for name, value in part.items():
            below = f"{path}.{name}" if path else str(name)
            yield path, str(name)
            yield from _texts(value, below, depth + 1)
    elif isinstance(part, list):
        for index, value in enumerate(part):
            yield from _texts(value, f"{path}.{index}" if path else str(index), depth + 1)


def keepable(text: str) -> bool:
    """Whether a database can keep this text: no NUL, no half of a surrogate pair."""
    return "\x00" not in text and not any("\ud800" <= letter <= "\udfff" for letter in text)


def check_query(request: Request, known: Iterable[str]) -> None:
    """Refuse query parameters that nothing here reads, and text that cannot be kept."""
    names = sorted(set(known))
    told = f"Known here: {', '.join(names)}." if names else "Nothing can be asked for here."
    unknown = tuple(
        Fault(UnknownQuery.code, f"'{name[:80]}' is not known. {told}", name[:80])
        for name in request.query_params
        if name not in names
    )
    if unknown and all(keepable(name) for name in request.query_params):
        raise UnknownQuery(fields=unknown)
    refuse_unreadable_text(
        {name: request.query_params.getlist(name) for name in request.query_params}
    )
