"""What the invented studio sells, its prices with their margins, and what a dearer oil would do."""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.prices.prices import entries_on
from costing.queries.what_if.answer import ChangedPrice, changed_prices
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Answer, Question, what_if
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
from inventory.queries.receiving.deliveries import find_delivery
from studio.foundation.money import parse_money
from studio.management.demo.scenario import read
from studio.management.demo.tables import Printer, money, percent

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


def show_products(printer: Printer, today: date) -> bool:
    """What each product costs; false where the studio was loaded before it sold anything."""
    printer.step(
        "What is sold, and what it costs",
        "A bar as the books hold it and made anew at today's offers and rates, packing for the "
        "shop included; the price list must keep the margin of the higher one.",
    )
    products = {entry.product_id: entry.product for entry in entries_on(today)}
    if not products:
        printer.say("This studio was loaded by an earlier version, which sold nothing.")
        return False
    costs = product_costs(products, on=today)
    printer.table(
        ["Product", ">In stock", ">Made anew", ">Packing of it"],
        (
            (
                product.name,
                _or_dash(costs[pk].actual),
                _or_dash(costs[pk].replacement),
                _or_dash(costs[pk].packing),
            )
            for pk, product in products.items()
        ),
    )
    return True


def ask_what_if(printer: Printer, today: date) -> None:
    """What a dearer oil would do to every recipe and every price; nothing is stored."""
    rise = read("demo/selling")["rise"][0]
    by = Decimal(rise["by"])
    printer.step(
        f"What if {rise['name'].lower()} rose by {percent(by, 0)}?",
        "One question for all recipes; nothing is stored.",
    )
    if find_delivery(supplier=rise["supplier"], invoice=rise["invoice"]) is not None:
        printer.say("It was asked in an earlier walk, and has risen since.")
        return
    change = Named(material=rise["material"], by=by)
    answer = what_if(Question(changes=[change], on=today))
    _show_recipes(printer, answer)
    _show_prices(printer, changed_prices(answer))


def _show_recipes(printer: Printer, answer: Answer) -> None:
    moves = [(each, answer.outcome.effects[place]) for place, each in enumerate(answer.recipes)]
    moves.sort(key=lambda pair: -(pair[1].difference or 0))
    printer.table(
        ["Recipe", "In", ">A bar now", ">Then", ">More", ">Share"],
        (
            (
                each.recipe.formula.name,
                each.recipe.mold.name,
                _or_dash(effect.base),
                _or_dash(effect.changed),
                _or_dash(effect.difference),
                percent(effect.share or Decimal(0)),
            )
            for each, effect in moves
        ),
    )


def _show_prices(printer: Printer, prices: list[ChangedPrice]) -> None:
    printer.table(
        ["Price list", "Tier", ">From", ">Price", ">Margin now", ">Then", ">Floor now", ">Then"],
        (
            (
                each.entry.product.name,
                each.entry.tier.name,
                str(each.entry.from_quantity),
                money(each.entry.price),
                _share_or_dash(each.margin),
                _share_or_dash(each.changed_margin),
                _or_dash(each.floor),
                _or_dash(each.changed_floor) + (" !" if each.is_under else ""),
            )
            for each in prices
        ),
    )
    under = [each for each in prices if each.is_under]
    printer.say(f"{len(under)} of {len(prices)} prices would fall under their floor.", "bold")


def _or_dash(value: int | None) -> str:
    return "-" if value is None else money(value)


def _share_or_dash(value: Decimal | None) -> str:
    return "-" if value is None else percent(value)
