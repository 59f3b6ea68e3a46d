"""What may be asked 'what if' of: other prices, offers, rates, yields and settings of the lye.

A change by a share goes up or down from what holds ("0.30" is 30 % more); prices that it moves are
rounded half to even, once. Money is ten-thousandths, shares are Decimals of 1.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from costing.domain.bar_cost.recipe_cost import Prices
from costing.domain.bar_cost.replacement import OfferTerms, SupplierTerms
from costing.domain.rates.rates import RateKind, Rates
from costing.errors import WhatIfRefusal
from inventory.domain.catalog.packs import PriceBreak
from inventory.domain.stock.lots import MovingAverage

#: Field of `Rates` of each kind of rate.
RATE_FIELDS: Mapping[RateKind, str] = {
    RateKind.LABOR_HOUR: "labor_per_hour",
    RateKind.OVERHEAD_BATCH: "overhead_per_batch",
    RateKind.OVERHEAD_LABOR_HOUR: "overhead_per_labor_hour",
    RateKind.LABOR_MIX_HOUR: "mix_per_hour",
    RateKind.LABOR_CUT_HOUR: "cut_per_hour",
    RateKind.LABOR_WRAP_HOUR: "wrap_per_hour",
    RateKind.OVERHEAD_RACK_WEEK: "rack_per_week",
    RateKind.ENERGY_KWH: "energy_per_kwh",
}
#: The code that a price stands under which is only asked about.
ASKED = "as asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialPrice:
    """A material dearer or cheaper by a share, or at `price` for each `per` (ng or pieces).

    A price by itself is freight and all, for any amount, in place of every offer and average.
    """

    material: int
    by: Decimal | None = None
    price: int = 0
    per: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferPrice:
    """One offer dearer or cheaper by a share (its price breaks as well), at another price of a
    pack (its breaks move in proportion), or no longer made (`withdrawn`)."""

    offer: int
    by: Decimal | None = None
    price: int = 0
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RateChange:
    """A rate up or down by a share, or at another amount."""

    kind: RateKind
    by: Decimal | None = None
    amount: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class GoodShare:
    """The share of the bars cut that turn out good, on the long run; of some formulas or all."""

    share: Decimal
    formulas: frozenset[int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LyeSetting:
    """Another superfat or lye concentration, of some formulas or all: they are scaled anew."""

    superfat: Decimal | None = None
    lye_concentration: Decimal | None = None
    formulas: frozenset[int] | None = None


Change = MaterialPrice | OfferPrice | RateChange | GoodShare | LyeSetting


def prices_after(prices: Prices, changes: Iterable[Change]) -> Prices:
    """The prices with the changes made, one after the other. What a change leaves is the same.

    Raises WhatIfRefusal for a rate by a share that no rate holds for, a pack that would cost less
    than nothing.
    """
    for change in changes:
        match change:
            case MaterialPrice():
                prices = replace(
                    prices,
                    offers=_material_offers(prices.offers, change),
                    averages=_material_average(prices.averages, change),
                )
            case OfferPrice():
                prices = replace(prices, offers=_offer(prices.offers, change))
            case RateChange():
                prices = replace(prices, rates=_rate(prices.rates, change))
            case _:
                pass
    return prices


def good_share(changes: Iterable[Change], formula: int) -> Fraction:
    """The share of good bars that the changes say for a formula; all of them where none does."""
    for change in changes:
        if isinstance(change, GoodShare) and _meant(change.formulas, formula):
            return Fraction(change.share)
    return Fraction(1)


def lye_settings(changes: Iterable[Change], formula: int) -> dict[str, Decimal]:
    """What of a formula's lye the changes set anew: `superfat`, `lye_concentration`."""
    found: dict[str, Decimal] = {}
    for change in changes:
        if isinstance(change, LyeSetting) and _meant(change.formulas, formula):
            if change.superfat is not None:
                found["superfat"] = change.superfat
            if change.lye_concentration is not None:
                found["lye_concentration"] = change.lye_concentration
    return found


def _meant(formulas: frozenset[int] | None, formula: int) -> bool:
    return formulas is None or formula in formulas


def _moved(amount: int, by: Decimal) -> int:
    return round(amount * (1 + Fraction(by)))


def _material_offers(
    offers: Mapping[int, Sequence[OfferTerms]], change: MaterialPrice
) -> Mapping[int, Sequence[OfferTerms]]:
    if change.by is not None:
        moved = tuple(_offer_by(each, change.by) for each in offers.get(change.material, ()))
    else:
        # A supplier of its own, so that it bears no other's freight.
        asked = SupplierTerms(id=-change.material)
        moved = (
            OfferTerms(
                id=-change.material,
                code=ASKED,
                supplier=asked,
                pack_amount=change.per,
                price=change.price,
            ),
        )
    return {**offers, change.material: moved}


def _material_average(
    averages: Mapping[int, MovingAverage], change: MaterialPrice
) -> Mapping[int, MovingAverage]:
    if change.by is None:
        asked = MovingAverage(quantity=change.per, cost=change.price)
        return {**averages, change.material: asked}
    held = averages.get(change.material)
    if held is None:
        return averages
    moved = MovingAverage(quantity=held.quantity, cost=_moved(held.cost, change.by))
    return {**averages, change.material: moved}


def _offer_by(offer: OfferTerms, by: Decimal) -> OfferTerms:
    return replace(
        offer,
        price=_moved(offer.price, by),
        breaks=tuple(PriceBreak(b.from_packs, _moved(b.price, by)) for b in offer.breaks),
    )


def _offer(
    offers: Mapping[int, Sequence[OfferTerms]], change: OfferPrice
) -> Mapping[int, Sequence[OfferTerms]]:
    for material, some in offers.items():
        if any(each.id == change.offer for each in some):
            moved = [_offer_changed(each, change) for each in some]
            return {**offers, material: tuple(each for each in moved if each is not None)}
    return offers


def _offer_changed(offer: OfferTerms, change: OfferPrice) -> OfferTerms | None:
    if offer.id != change.offer:
        return offer
    if change.withdrawn:
        return None
    if change.by is not None:
        return _offer_by(offer, change.by)
    breaks = tuple(
        PriceBreak(b.from_packs, round(Fraction(b.price * change.price, offer.price)))
        for b in offer.breaks
        if offer.price
    )
    return replace(offer, price=change.price, breaks=breaks)


def _rate(rates: Rates, change: RateChange) -> Rates:
    field = RATE_FIELDS[change.kind]
    if change.by is None:
        return replace(rates, **{field: change.amount})
    now = getattr(rates, field)
    if now is None:
        name = change.kind.value.replace("_", " ")
        raise WhatIfRefusal(
            f"No {name} rate is in force, so it cannot change by a share: give its amount.",
            field="rate",
        )
    return replace(rates, **{field: _moved(now, change.by)})
