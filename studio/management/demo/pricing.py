"""What the bars cost to sell, the price list with its margins, and what a dearer oil would do."""

from datetime import date
from decimal import Decimal

from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.prices.prices import entries_on
from costing.queries.what_if.answer import ChangedPrice, changed_prices
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Answer, Question, what_if
from inventory.queries.receiving.deliveries import find_delivery
from studio.management.demo.scenario import read
from studio.management.demo.tables import Printer, money, percent


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
