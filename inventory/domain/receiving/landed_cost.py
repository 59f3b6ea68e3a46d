"""Landed cost: what each line of a delivery cost, with freight, duty and discounts spread over it.

The cost of purchase is the price plus import duties, transport and other costs of getting the
goods in, less trade discounts (IAS 2 paragraph 11). Money is ten-thousandths; weights are ng.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from inventory.errors import ChargesNotAllocated
from studio.foundation.errors import Faults
from studio.foundation.money import split


class ChargeKind(StrEnum):
    """What a charge is for."""

    FREIGHT = "freight"
    DUTY = "duty"
    DISCOUNT = "discount"
    OTHER = "other"


class Basis(StrEnum):
    """By what a charge is spread over the lines."""

    VALUE = "value"
    WEIGHT = "weight"


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryLine:
    """One line: what the supplier asks for all of it, and its weight where it is known."""

    name: str
    price: int
    weight_ng: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """A charge on the whole delivery; a discount is below zero, all others are not."""

    kind: ChargeKind
    amount: int
    basis: Basis = Basis.VALUE


@dataclass(frozen=True, slots=True, kw_only=True)
class LandedLine:
    """The cost of one line: its price and its parts of the charges."""

    price: int
    by_value: int
    by_weight: int

    @property
    def cost(self) -> int:
        """The landed cost of the line."""
        return self.price + self.by_value + self.by_weight


def allocate(lines: Sequence[DeliveryLine], charges: Sequence[Charge]) -> tuple[LandedLine, ...]:
    """Spread the charges over the lines, conserving the total to the last ten-thousandth.

    Charges of one basis are added up and split once, by largest remainder, so rounding can't pile
    up. Raises ChargesNotAllocated with every fault: no lines, a negative price, a charge of the
    wrong sign, discounts above the value of the goods, a weight basis with a line that has no
    weight (named), a value basis where nothing has a price, a line that would cost less than zero.
    """
    faults = Faults()
    _check_lines(faults, lines)
    _check_charges(faults, charges)
    if not faults:
        _check_value(faults, lines, charges)
    _check_weights(faults, lines, charges)
    faults.raise_if_any(ChargesNotAllocated)
    prices = [line.price for line in lines]
    by_value = _spread(_sum_of(charges, Basis.VALUE), prices)
    by_weight = _spread(_sum_of(charges, Basis.WEIGHT), [line.weight_ng or 0 for line in lines])
    landed = tuple(
        LandedLine(price=price, by_value=value_part, by_weight=weight_part)
        for price, value_part, weight_part in zip(prices, by_value, by_weight, strict=True)
    )
    for index, (line, cost) in enumerate(zip(lines, landed, strict=True)):
        if cost.cost < 0:
            faults.add(
                "cost-below-zero",
                f"{line.name} would cost less than nothing; spread the discount by value.",
                f"lines.{index}",
            )
    faults.raise_if_any(ChargesNotAllocated)
    return landed


def _sum_of(charges: Sequence[Charge], basis: Basis) -> int:
    return sum(charge.amount for charge in charges if charge.basis == basis)


def _spread(amount: int, weights: list[int]) -> list[int]:
    return split(amount, weights) if amount else [0] * len(weights)


def _check_lines(faults: Faults, lines: Sequence[DeliveryLine]) -> None:
    if not lines:
        faults.add("no-lines", "A delivery needs at least one line.", "lines")
    for index, line in enumerate(lines):
        if line.price < 0:
            faults.add(
                "price-below-zero",
                f"The price of {line.name} is below zero; enter a discount as a charge.",
                f"lines.{index}.price",
            )
        if line.weight_ng is not None and line.weight_ng <= 0:
            faults.add(
                "weight-not-positive",
                f"The weight of {line.name} must be above zero.",
                f"lines.{index}.weight",
            )


def _check_charges(faults: Faults, charges: Sequence[Charge]) -> None:
    for index, charge in enumerate(charges):
        if charge.kind == ChargeKind.DISCOUNT and charge.amount > 0:
            faults.add(
                "discount-above-zero",
                "A discount is written below zero.",
                f"charges.{index}.amount",
            )
        if charge.kind != ChargeKind.DISCOUNT and charge.amount < 0:
            faults.add(
                "charge-below-zero",
                f"A charge ({charge.kind}) cannot be below zero; enter a discount instead.",
                f"charges.{index}.amount",
            )


def _check_value(faults: Faults, lines: Sequence[DeliveryLine], charges: Sequence[Charge]) -> None:
    """Refuse what the value of the goods can't bear: too much discount, nothing to spread by."""
    value = sum(line.price for line in lines)
    reduction = -sum(charge.amount for charge in charges if charge.amount < 0)
    if reduction > value:
        faults.add(
            "discount-above-value",
            "The discounts are more than the goods are worth.",
            "charges",
            discount=reduction,
            value=value,
        )
    if _sum_of(charges, Basis.VALUE) and value == 0:
        faults.add(
            "nothing-to-spread-by",
            "No line has a price, so the charges cannot be spread by value; spread by weight.",
            "charges",
        )


def _check_weights(
    faults: Faults, lines: Sequence[DeliveryLine], charges: Sequence[Charge]
) -> None:
    """Refuse a charge by weight where a line has none."""
    if any(charge.basis == Basis.WEIGHT for charge in charges):
        for index, line in enumerate(lines):
            if line.weight_ng is None:
                faults.add(
                    "weight-missing",
                    f"{line.name} has no weight, so a charge cannot be spread by weight; "
                    "enter its weight or spread by value.",
                    f"lines.{index}.weight",
                )
