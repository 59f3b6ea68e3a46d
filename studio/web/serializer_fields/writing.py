"""How the API writes exact values: amounts as decimal text, with their unit or currency."""

from decimal import Decimal

from django.conf import settings

from studio.foundation import money
from studio.foundation.units import writing
from studio.foundation.units.quantity import Quantity


def quantity_json(quantity: Quantity) -> dict[str, str]:
    """A quantity as the API writes it: {"amount": "1.25", "unit": "kg"}."""
    return {"amount": quantity.amount_text, "unit": quantity.unit.symbol}


def base_json(base: int, unit: str) -> dict[str, str]:
    """An integer of base units (ng, nL, pieces, nm) as the API writes it, in `unit`."""
    return {"amount": writing.format_amount(base, unit), "unit": unit}


def stock_json(amount: int, *, counted: bool) -> dict[str, str]:
    """A stock amount as the API writes it: in g of what is weighed, each of what is counted."""
    return base_json(amount, "each" if counted else "g")


def money_json(value: int) -> dict[str, str]:
    """Ten-thousandths as the API writes money: {"amount": "12.50", "currency": "USD"}."""
    currency = settings.STUDIO_CURRENCY
    return {"amount": money.amount_text(value, currency=currency), "currency": currency}


def decimal_json(value: Decimal) -> str:
    """A Decimal as the shortest plain text that is exactly it: "0.05", never "5E-2"."""
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if not value else text
