"""Serializer fields of the API: quantities, money, shares and exact decimals in JSON.

JSON numbers with a point are floats and most of them are not exact, so they are refused
everywhere: exact numbers travel as text. Each refusal is a DRF ValidationError with the code of
its fault.
"""

from studio.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.serializer_fields.quantities import BaseQuantityField, QuantityField, StockAmountField
from studio.serializer_fields.reading import as_api_error
from studio.serializer_fields.writing import base_json, money_json, quantity_json, stock_json

__all__ = [
    "BaseQuantityField",
    "DecimalTextField",
    "MoneyField",
    "QuantityField",
    "ShareField",
    "StockAmountField",
    "as_api_error",
    "base_json",
    "money_json",
    "quantity_json",
    "stock_json",
]
