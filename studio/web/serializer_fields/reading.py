"""What the fields share in reading JSON exactly: members, whole numbers and decimals as text."""

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar, Final, Self

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from studio.foundation.errors import Fault, Refusal

# Each character can be matched in one way only, so the time is that of the length.
_DECIMAL: Final = re.compile(r"-?(?:[0-9]{1,15}(?:\.[0-9]{1,12})?|\.[0-9]{1,12})")
_MAX_WHOLE: Final = 10**30
_MAX_TEXT: Final = 40


class NumberRefusal(Refusal):
    """A JSON value that is no exact number, or is out of its range."""

    code: ClassVar[str] = "number-refused"
    title: ClassVar[str] = "The number cannot be used as it stands"

    @classmethod
    def because(cls, code: str, message: str) -> Self:
        """The refusal with one fault whose own `code` says why."""
        return cls(faults=[Fault(code, message)])


def as_api_error(refusal: Refusal) -> serializers.ValidationError:
    """All faults of a refusal as one DRF ValidationError, with their codes."""
    return serializers.ValidationError(
        [ErrorDetail(fault.message, code=fault.code) for fault in refusal.faults]
    )


def members(given: Mapping[str, Any], first: str, second: str) -> tuple[Any, Any]:
    """The two members that `given` must have, and no others. Raises NumberRefusal."""
    faults = [
        Fault("unknown-member", f"{str(name)[:_MAX_TEXT]!a} is not read here.")
        for name in given
        if name not in (first, second)
    ]
    faults += [
        Fault("missing-member", f'"{name}" is missing: write it as {{"{first}", "{second}"}}.')
        for name in (first, second)
        if name not in given
    ]
    if faults:
        raise NumberRefusal(faults=faults)
    return given[first], given[second]


def exact_text(given: Any) -> str:
    """The text of a number given as text or as a JSON number. Raises NumberRefusal.

    The API's parser reads JSON numbers with a point as Decimals, which are exact; a float, from
    any other parser, is not and is refused.
    """
    if isinstance(given, str):
        return given
    if isinstance(given, Decimal) and given.is_finite():
        # Looks at the exponent first: "1E+999999" would be written out in full.
        if abs(int(given.as_tuple().exponent)) + len(given.as_tuple().digits) > _MAX_TEXT:
            raise NumberRefusal.because("too-large", "That number is more than can be kept.")
        return format(given, "f")
    if isinstance(given, bool) or not isinstance(given, int):
        raise NumberRefusal.because(
            "not-exact",
            'Write the number as text ("1.25") or as a whole number: a number with a point is '
            "read as a float, which is not exact.",
        )
    # checked by size first: Python refuses to write out very long integers
    if abs(given) >= _MAX_WHOLE:
        raise NumberRefusal.because("too-large", "That number is more than can be kept.")
    return str(given)


def exact_decimal(given: Any) -> Decimal:
    """The Decimal of a number given as plain decimal text or as a JSON integer."""
    text = exact_text(given).strip(" ")
    if len(text) > _MAX_TEXT or _DECIMAL.fullmatch(text) is None:
        comma = " The decimal sign is a point, not a comma." if "," in text else ""
        raise NumberRefusal.because(
            "not-a-number", f'Write one plain decimal number, for example "1.25".{comma}'
        )
    return Decimal(text)


def has_places(value: Decimal, places: int) -> bool:
    """Whether `places` decimals hold `value` exactly."""
    return bool((Fraction(value) * 10**places).denominator == 1)
