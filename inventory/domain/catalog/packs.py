"""A pack as the supplier writes it, in the stock unit, and cheaper packs of larger purchases."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise

from studio.foundation.errors import Fault, Faults
from studio.foundation.money import MAX_MONEY
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import MAX_BASE, Dimension
from studio.foundation.units.writing import friendly_mass

MAX_PACKS = 1_000_000
#: The most that one line may bring, so that sums over many lots stay within 64 bits: 100 t, or a
#: thousand million pieces.
MOST_NG = 10**17
MOST_PIECES = 10**9


class DensitySource(StrEnum):
    """Where the density came from that turned a volume into a mass."""

    NOT_NEEDED = "not-needed"
    STATED = "stated"
    """By the supplier, for this offer or this lot."""
    NOMINAL = "nominal"
    """The material's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PackAmount:
    """What a number of packs holds: stock units, and the density used where one was needed."""

    amount: int
    source: DensitySource
    density_g_ml: Decimal | None = None


def pack_amount(
    written: str,
    *,
    counted: bool,
    packs: int = 1,
    stated_g_ml: Decimal | None = None,
    nominal_g_ml: Decimal | None = None,
) -> PackAmount:
    """What `packs` packs written as "1 gal", "35 lb" or "12 each" hold, rounded once.

    Mass stays mass; a volume becomes mass through the stated density, else the nominal one.
    Raises UnitRefusal: text that cannot be read, a volume without a density, a mass or volume of
    what is counted, pieces of what is weighed, nothing at all, too many or too few packs.
    """
    if not 1 <= packs <= MAX_PACKS:
        raise _refusal("packs-out-of-range", f"The number of packs is from 1 to {MAX_PACKS}.")
    quantity = _read(written, counted=counted)
    is_volume = quantity.dimension is Dimension.VOLUME
    density = (stated_g_ml if stated_g_ml is not None else nominal_g_ml) if is_volume else None
    if is_volume and density is None:
        raise _refusal(
            "no-density",
            f"{written.strip()} is a volume and neither the supplier nor the material states a "
            "density (g/mL): give one, or write the pack as a mass.",
        )
    whole = Quantity(quantity.amount * packs, quantity.unit)
    if whole.base > MAX_BASE:
        raise _refusal("too-large", "That is more than can be kept.")
    amount = stock_amount(whole, counted=counted, density_g_ml=density)
    if amount > most(counted=counted):
        limit = friendly_amount(most(counted=counted), counted=counted)
        raise _refusal("too-large", f"That is more than can come at once: {limit} at most.")
    if amount <= 0:
        raise _refusal("nothing", "A pack holds more than nothing.")
    if not is_volume:
        source = DensitySource.NOT_NEEDED
    else:
        source = DensitySource.STATED if stated_g_ml is not None else DensitySource.NOMINAL
    return PackAmount(amount=amount, source=source, density_g_ml=density)


def most(*, counted: bool) -> int:
    """The most that one line may bring, in stock units."""
    return MOST_PIECES if counted else MOST_NG


def friendly_amount(amount: int, *, counted: bool) -> str:
    """An amount in stock units for a person to read: "12 each", "1.25 kg"."""
    return f"{amount} each" if counted else friendly_mass(amount)


def _read(written: str, *, counted: bool) -> Quantity:
    quantity = parse_quantity(written, Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
    if counted and quantity.dimension is not Dimension.COUNT:
        raise _refusal(
            "wrong-dimension",
            f'This material is counted; "{written.strip()}" is a {quantity.dimension}. Write '
            'pieces, for example "12 each".',
        )
    if not counted and quantity.dimension is Dimension.COUNT:
        raise _refusal(
            "wrong-dimension",
            f'This material is weighed; "{written.strip()}" counts pieces. Write a mass or a '
            'volume, for example "35 lb" or "1 gal".',
        )
    return quantity


def _refusal(code: str, message: str) -> UnitRefusal:
    return UnitRefusal(faults=[Fault(code, message)])


MOST_BREAKS = 10


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From so many packs of one order on, every pack of it costs `price` (ten-thousandths)."""

    from_packs: int
    price: int


def pack_price(packs: int, *, price: int, breaks: Sequence[PriceBreak] = ()) -> int:
    """The price of each of `packs` packs bought at once (all-units discount), ten-thousandths.

    Source of the kind of discount: Hadley and Whitin, "Analysis of Inventory Systems" (1963),
    section 2-11.
    """
    reached = [each for each in breaks if each.from_packs <= packs]
    return max(reached, key=lambda each: each.from_packs).price if reached else price


def check_breaks(faults: Faults, breaks: Sequence[PriceBreak], *, price: int) -> None:
    """Add what is wrong with an offer's breaks: they ascend in packs and descend in price."""
    if len(breaks) > MOST_BREAKS:
        faults.add("too-many", f"An offer has at most {MOST_BREAKS} breaks.", "price_breaks")
    steps = [PriceBreak(1, price), *breaks]
    for index, (before, after) in enumerate(pairwise(steps)):
        under = f"price_breaks.{index}"
        if not before.from_packs < after.from_packs <= MAX_PACKS:
            faults.add(
                "not-ascending",
                f"Each break begins at more packs than the one before, and at most {MAX_PACKS}.",
                f"{under}.from_packs",
            )
        if not 0 <= after.price <= MAX_MONEY:
            faults.add(
                "out-of-range", "A price is not below zero, nor too large.", f"{under}.price"
            )
        elif after.price >= before.price:
            faults.add("not-cheaper", "A break makes packs cheaper.", f"{under}.price")
