"""What a field read: said under it while somebody types, before anything is saved."""

from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.errors import Refusal
from studio.foundation.local_words import exact_money
from studio.foundation.money import parse_money
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import length_nm, mass_ng, pieces, temperature_c, volume_nl
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import UnitRefusal
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import (
    format_amount,
    friendly_mass,
    friendly_volume,
    how_many,
    percent,
)
from studio.web.form_fields import parse_share
from studio.web.pages.ruled import GET, page

LONGEST = 100


def _both(ng: int) -> str:
    return f"{friendly_mass(ng)} · {friendly_mass(ng, system='us')}"


def read_mass(text: str, density: Decimal | None = None) -> str:
    """What is weighed, in both systems; a volume through its density."""
    quantity = parse_quantity(text, Dimension.MASS, Dimension.VOLUME)
    return _both(mass_ng(quantity, density_g_ml=density))


def read_stock(text: str, density: Decimal | None = None) -> str:
    """What is weighed or counted."""
    quantity = parse_quantity(text, Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
    if quantity.dimension is Dimension.COUNT:
        return how_many(pieces(quantity), "piece")
    if quantity.dimension is Dimension.VOLUME and density is None:
        return read_volume(text)
    return _both(mass_ng(quantity, density_g_ml=density))


def read_volume(text: str, density: Decimal | None = None) -> str:
    """A volume in both systems."""
    nl = volume_nl(parse_quantity(text, Dimension.VOLUME))
    return f"{friendly_volume(nl)} · {friendly_volume(nl, system='us')}"


def read_count(text: str, density: Decimal | None = None) -> str:
    """Pieces; a bare number is one of them."""
    return how_many(pieces(parse_quantity(text, Dimension.COUNT)), "piece")


def read_length(text: str, density: Decimal | None = None) -> str:
    """A length in millimeters and inches."""
    nm = length_nm(parse_quantity(text, Dimension.LENGTH))
    inches = round(Decimal(format_amount(nm, "in")), 2).normalize()
    return f"{Decimal(format_amount(nm, 'mm')):f} mm · {inches:f} in"


def read_temperature(text: str, density: Decimal | None = None) -> str:
    """A temperature in both scales."""
    celsius = temperature_c(parse_quantity(text, Dimension.TEMPERATURE))
    fahrenheit = round(celsius * 9 / 5 + 32, 1).normalize()
    return f"{celsius.normalize():f} °C · {fahrenheit:f} °F"


def read_money(text: str, density: Decimal | None = None) -> str:
    """An amount of the studio's currency."""
    return exact_money(parse_money(text, locale=settings.STUDIO_LOCALE))


def read_share(text: str, density: Decimal | None = None) -> str:
    """A share in percent."""
    return percent(parse_share(text))


READERS: Mapping[str, Callable[[str, Decimal | None], str]] = {
    "mass": read_mass,
    "volume": read_volume,
    "count": read_count,
    "length": read_length,
    "temperature": read_temperature,
    "stock": read_stock,
    "money": read_money,
    "share": read_share,
}


@page(Capability.READ, methods=GET)
def read_quantity(request: HttpRequest) -> HttpResponse:
    """The fragment under a field: what it read, or why it could not.

    `as` is a name of READERS; the text is in `text`, or in the parameter that `of` names.
    """
    given = request.GET
    text = given.get(given.get("of") or "text", "").strip()
    reader = READERS.get(given.get("as", "mass"))
    said: dict[str, Any] = {"read": "", "trouble": ""}
    if text and reader is not None:
        try:
            if len(text) > LONGEST:
                raise UnitRefusal("Write it shorter.")
            said["read"] = reader(text, _density(given.get("density", "")))
        except Refusal as refusal:
            said["trouble"] = refusal.faults[0].message
    return render(request, "studio/parts/_read.html", said)


def _density(text: str) -> Decimal | None:
    try:
        return Decimal(text) if text.strip() and len(text) <= 12 else None
    except InvalidOperation as error:
        raise UnitRefusal("The density is a number of g/mL, such as 0.915.") from error
