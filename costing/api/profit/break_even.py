"""Break-even and the smallest order that pays its packing, in plain numbers."""

from typing import Any, ClassVar

from rest_framework import serializers

from costing.api.rows import ExactMoneyField
from costing.domain.prices.ladder import Rung, without_tax
from costing.domain.profit.break_even import (
    HIGHEST,
    MOST_BARS,
    MOST_MIX,
    BreakEven,
    OrderCosts,
    Sold,
    SoldPart,
    break_even,
    smallest_order,
)
from costing.errors import BreakEvenRefusal
from studio.foundation.errors import Faults
from studio.foundation.money import PER_UNIT
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import round_half_even
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField

COSTS_ALONE = (Capability.COMPUTE, Capability.SEE_COSTS)
MOST_PRODUCTS = 50
MOST_PRICES = 20


class SoldSerializer(StrictSerializer):
    """A product: its price without tax, and what a bar of it costs with the fees of its sale."""

    name = serializers.CharField(max_length=120)
    price = MoneyField()
    variable_cost = MoneyField()
    mix = serializers.IntegerField(
        min_value=1, max_value=MOST_MIX, default=1, help_text="Its part of the bars sold."
    )


class ComputeBreakEvenSerializer(StrictSerializer):
    """What is spent in a month whether bars are sold or not, and what each bar brings."""

    fixed_cost = MoneyField(help_text="In a month, as rent and insurance.")
    target_profit = MoneyField(default=0)
    products = SoldSerializer(many=True, max_length=MOST_PRODUCTS)  # type: ignore[call-arg]


class SoldPartSerializer(AnswerSerializer):
    """A product's part of the bars that break even."""

    shows = SoldPart


class BreakEvenSerializer(AnswerSerializer):
    """Bars and sales in a month at which nothing is lost, or the target is reached.

    `bars` are whole, split by the mix; `profit` is what they leave. The exact ones are what the
    equations give, as fractions ("155/7" bars; sales in the currency). With several products the
    contribution is that of an average bar of the mix.
    """

    shows = BreakEven
    says = (
        *("bars", "sales", "profit", "contribution_per_bar", "contribution_ratio"),
        *("bars_exact", "sales_exact", "parts as products"),
    )
    bars_exact = serializers.CharField(source="exact_bars")
    sales_exact = ExactMoneyField(source="exact_sales")


class BreakEvenView(ComputeView):
    """How many bars a month cover the fixed cost."""

    given_serializer = ComputeBreakEvenSerializer
    answer_serializer = BreakEvenSerializer
    rules: ClassVar[Rules] = {"post": COSTS_ALONE}

    def compute(self, given: Any) -> Any:
        _refuse_too_large(given)
        return break_even(
            given["fixed_cost"],
            [Sold(**each) for each in given["products"]],
            target_profit=given["target_profit"],
        )


class OfferedPriceSerializer(StrictSerializer):
    """A price of a bar from a quantity on."""

    from_quantity = serializers.IntegerField(min_value=1, max_value=MOST_BARS, default=1)
    price = MoneyField()


class ComputeMinimumOrderSerializer(StrictSerializer):
    """What an order costs to pack and handle, and what its bars bring.

    Give the tier's prices; with `tax_included` they are written with tax. Fees are a share of what
    is paid, tax included, and so much for each sale.
    """

    prices = OfferedPriceSerializer(many=True, max_length=MOST_PRICES)  # type: ignore[call-arg]
    cost_per_bar = MoneyField()
    cost_per_order = MoneyField(help_text="Packing and handling, once for each order.")
    cost_per_carton = MoneyField(default=0)
    bars_per_carton = serializers.IntegerField(min_value=1, max_value=MOST_BARS, default=1)
    tax_share = ShareField(default=0)
    tax_included = serializers.BooleanField(default=False)
    fee_share = ShareField(default=0)
    fee_per_sale = MoneyField(default=0)


class MinimumOrderSerializer(StrictSerializer):
    """The smallest quantity that pays its packing: null, with why, when none does.

    `price` is without tax. `contribution` is what the bars bring above their cost after the share
    of fees, `packing` what the order takes with the fee of the sale, `left` the difference.
    """

    quantity = serializers.IntegerField(allow_null=True)
    price = MoneyField(allow_null=True)
    cartons = serializers.IntegerField(allow_null=True)
    contribution = MoneyField(allow_null=True)
    packing = MoneyField(allow_null=True)
    left = MoneyField(allow_null=True)
    note = serializers.CharField()


class MinimumOrderView(ComputeView):
    """The smallest order whose contribution after fees covers its packing and handling."""

    given_serializer = ComputeMinimumOrderSerializer
    answer_serializer = MinimumOrderSerializer
    rules: ClassVar[Rules] = {"post": COSTS_ALONE}

    def compute(self, given: Any) -> Any:
        _refuse_too_large(given)
        costs = OrderCosts(
            per_order=given["cost_per_order"] + given["fee_per_sale"],
            per_carton=given["cost_per_carton"],
            bars_per_carton=given["bars_per_carton"],
            fee_share=given["fee_share"],
            tax_share=given["tax_share"],
        )
        rungs = [_rung(each, given) for each in given["prices"]]
        found = smallest_order(rungs, given["cost_per_bar"], costs, most=MOST_BARS)
        if found is None:
            return {**dict.fromkeys(_FOUND), "note": NONE_PAYS}
        contribution = round_half_even(found.contribution)
        return {
            "quantity": found.quantity,
            "price": found.price,
            "cartons": found.cartons,
            "contribution": contribution,
            "packing": found.packing,
            "left": contribution - found.packing,
            "note": "",
        }


NONE_PAYS = (
    f"No order of up to {MOST_BARS} bars pays its packing: raise the prices, or lower what a bar "
    "or a carton costs."
)
_FOUND = ("quantity", "price", "cartons", "contribution", "packing", "left")


def _rung(each: Any, given: Any) -> Rung:
    """A price without tax, rounded down so that an order never pays only by rounding."""
    net = without_tax(
        each["price"], tax_share=given["tax_share"], tax_included=given["tax_included"]
    )
    return Rung(from_quantity=each["from_quantity"], price=int(net))


def _refuse_too_large(given: Any) -> None:
    """Amounts whose products could not be kept, with their fields. Raises BreakEvenRefusal."""
    faults = Faults()
    for path, value in _amounts(given, ""):
        if value > HIGHEST:
            faults.add("too-large", f"At most {HIGHEST // PER_UNIT} is reckoned with here.", path)
    faults.raise_if_any(BreakEvenRefusal)


def _amounts(given: Any, under: str) -> list[tuple[str, int]]:
    found: list[tuple[str, int]] = []
    for name, value in given.items():
        if isinstance(value, list):
            for index, each in enumerate(value):
                found += _amounts(each, f"{under}{name}.{index}.")
        elif isinstance(value, int):
            found.append((f"{under}{name}", value))
    return found
