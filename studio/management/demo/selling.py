"""Put what the invented studio sells on its list: standards, packaging, products, tiers, prices."""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from costing.services.bar_cost.labor_standards import StandardDescription, save_standard
from costing.services.bar_cost.packaging import (
    EditionDescription,
    PieceDescription,
    SetDescription,
    put_edition,
    save_set,
)
from costing.services.prices.prices import PriceDescription, set_prices
from costing.services.prices.products import ProductDescription, save_product
from costing.services.prices.tiers import TierDescription, save_tier
from costing.services.quotes.customers import CustomerDescription, save_customer
from costing.services.rates.rates import FeeDescription, save_fee
from studio.foundation.money import parse_money
from studio.management.demo.scenario import read

Table = Mapping[str, Any]

NOTE = "Invented for the demonstration."
_MARGINS = ("wanted_margin", "floor_margin")


def load_selling(today: date) -> None:
    """All of it, once the past of the studio is there: floors rest on what the bars cost."""
    selling = read("demo/selling")
    for table in selling["tier"]:
        save_tier(_tier(table, selling["tier"].index(table)))
    for table in selling["standard"]:
        save_standard(StandardDescription(**_dated(table, today)))
    for table in selling["fee"]:
        fee = _dated(table, today)
        fee |= {"share": Decimal(table["share"])}
        fee |= {"fixed_per_sale": parse_money(table["fixed_per_sale"])}
        save_fee(FeeDescription(**fee))
    for table in selling["packaging"]:
        _packaging(table, today)
    for table in selling["product"]:
        save_product(ProductDescription(**table, note=NOTE))
    for table in selling["customer"]:
        customer = {**table, "discount": Decimal(table.get("discount", "0"))}
        save_customer(CustomerDescription(**customer, note=NOTE))
    set_prices([_price(table, today) for table in selling["price"]])


def _dated(table: Table, today: date) -> dict[str, Any]:
    values = {name: value for name, value in table.items() if name != "days_ago"}
    values["effective_from"] = today - timedelta(days=table["days_ago"])
    return values


def _tier(table: Table, position: int) -> TierDescription:
    values = {**table, **{name: Decimal(table[name]) for name in _MARGINS}}
    values |= {"step": parse_money(table["step"]), "position": position}
    return TierDescription(**values)


def _packaging(table: Table, today: date) -> None:
    save_set(SetDescription(code=table["code"], name=table["name"]))
    edition = EditionDescription(
        effective_from=today - timedelta(days=table["days_ago"]),
        bars_per_carton=table["bars_per_carton"],
        pieces=[PieceDescription(**piece) for piece in table["pieces"]],
    )
    put_edition(table["code"], edition, today=today)


def _price(table: Table, today: date) -> PriceDescription:
    values = _dated(table, today)
    return PriceDescription(**{**values, "price": parse_money(table["price"])})
