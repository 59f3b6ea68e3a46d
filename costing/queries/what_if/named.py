"""Changes as people write them, by code, and as they are worked out, by what is there."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from costing.domain.rates.rates import RateKind
from costing.domain.what_if.changes import (
    Change,
    GoodShare,
    LyeSetting,
    MaterialPrice,
    OfferPrice,
    RateChange,
)
from costing.errors import WhatIfRefusal
from costing.queries.what_if.reading import Day, Planned
from inventory.queries.catalog.materials import materials_by_code
from inventory.queries.catalog.offers import current_offers
from studio.foundation.errors import Faults

if TYPE_CHECKING:
    from inventory.models.catalog.suppliers import Offer

MOST_CHANGES = 20
#: In place of a recipe's code: all of them.
EVERY = ""
#: With more than this a list is no longer chosen from; the API takes any code.
MOST = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A change as it is written: of a material, an offer, a rate, a yield, or the lye's settings.

    `by` is a share up or down, `price` an amount in its place (of a material for each `per`, in ng,
    or in pieces where `per_count`); `formulas` are codes, all where empty.
    """

    material: str = ""
    offer: str = ""
    rate: RateKind | None = None
    by: Decimal | None = None
    price: int | None = None
    per: int | None = None
    per_count: bool = False
    withdrawn: bool = False
    good_bars: Decimal | None = None
    superfat: Decimal | None = None
    lye_concentration: Decimal | None = None
    formulas: Collection[str] = ()


def named_changes(
    named: Sequence[Named], recipes: Sequence[Planned], day: Day
) -> tuple[tuple[Change, ...], tuple[str, ...]]:
    """The changes that are meant, and what of them changes nothing here. One query.

    Raises WhatIfRefusal with every fault, each below its change.
    """
    if not 0 < len(named) <= MOST_CHANGES:
        raise WhatIfRefusal(
            f"Give one change at least and {MOST_CHANGES} at most.", field="changes"
        )
    look = _Look(named, recipes, day)
    changes = [look.change(place, each) for place, each in enumerate(named)]
    _check_apart(named, look.faults)
    look.faults.raise_if_any(WhatIfRefusal)
    return tuple(change for change in changes if change is not None), tuple(look.notes)


class _Look:
    def __init__(self, named: Sequence[Named], recipes: Sequence[Planned], day: Day) -> None:
        self.faults = Faults()
        self.notes: list[str] = []
        self.day = day
        self.materials = materials_by_code(each.material for each in named if each.material)
        self.offers = {
            offer.code: offer.id
            for some in day.prices.offers.values()
            for offer in some
            if offer.paid_on is None
        }
        self.formulas = {each.recipe.formula.code: each.recipe.formula.pk for each in recipes}

    def change(self, place: int, named: Named) -> Change | None:
        """The change that is meant, or None and a fault."""
        under = f"changes.{place}"
        if named.material:
            return self._material(named, under)
        if named.offer:
            return self._offer(named, under)
        if named.rate is not None:
            return RateChange(kind=named.rate, by=named.by, amount=named.price or 0)
        formulas = self._formulas(named.formulas, under)
        if named.good_bars is not None:
            return GoodShare(share=named.good_bars, formulas=formulas)
        return LyeSetting(
            superfat=named.superfat,
            lye_concentration=named.lye_concentration,
            formulas=formulas,
        )

    def _material(self, named: Named, under: str) -> Change | None:
        material = self.materials.get(named.material)
        if material is None:
            self._fault(f"There is no material {named.material}.", f"{under}.material")
            return None
        if material.pk in self.day.production.makers:
            self._fault(
                f"{material.name} is made here: change what it is made of, or what an hour costs.",
                f"{under}.material",
            )
        elif named.per is not None and named.per_count != material.counted:
            self._fault(
                f"{material.name} is {'counted' if material.counted else 'weighed'}: give its price"
                f" {'for so many' if material.counted else 'by weight'}.",
                f"{under}.per",
            )
        elif self._has_no_price(material.pk) and named.by is not None:
            self._fault(
                f"Nothing says what {material.name} costs, so it cannot change by a share: give a"
                " price.",
                f"{under}.by",
            )
        elif material.pk not in self.day.used:
            self.notes.append(f"None of these recipes is made of {material.name}.")
        return MaterialPrice(
            material=material.pk, by=named.by, price=named.price or 0, per=named.per or 1
        )

    def _has_no_price(self, material: int) -> bool:
        buy = self.day.basis.look_up.buy
        if material not in self.day.used or buy is None:
            return False
        return bool(buy({material: 1}, self.day.prices).missing)

    def _offer(self, named: Named, under: str) -> Change | None:
        if not self.day.basis.look_up.from_offers:
            self._fault(
                "An offer changes what it costs to replace, not what is held: ask on the basis"
                " replacement.",
                f"{under}.offer",
            )
            return None
        offer = self.offers.get(named.offer)
        if offer is None:
            self._fault(
                f"No offer {named.offer} for anything in these recipes holds on {self.day.on}.",
                f"{under}.offer",
            )
            return None
        return OfferPrice(
            offer=offer, by=named.by, price=named.price or 0, withdrawn=named.withdrawn
        )

    def _formulas(self, codes: Collection[str], under: str) -> frozenset[int] | None:
        for place, code in enumerate(codes):
            if code not in self.formulas:
                self._fault(
                    f"{code} is not among the recipes asked about.", f"{under}.formulas.{place}"
                )
        return frozenset(self.formulas[c] for c in codes if c in self.formulas) if codes else None

    def _fault(self, message: str, field: str) -> None:
        self.faults.add("not-there", message, field)


def _check_apart(named: Iterable[Named], faults: Faults) -> None:
    """The same thing changed twice has no one meaning; a change of all recipes is one of each."""
    seen: dict[str, dict[str, int]] = {}
    for place, each in enumerate(named):
        for kind, subject in _subjects(each):
            before = seen.setdefault(kind, {})
            first = before.get(subject, before.get(EVERY))
            if first is None and subject == EVERY:
                first = min(before.values(), default=None)
            if first is not None and first != place:
                faults.add(
                    "changed-twice",
                    f"Change {first + 1} changes the same thing: ask about them one after the"
                    " other.",
                    f"changes.{place}",
                )
            before.setdefault(subject, place)


def _subjects(named: Named) -> list[tuple[str, str]]:
    if named.material:
        return [("material", named.material)]
    if named.offer:
        return [("offer", named.offer)]
    if named.rate is not None:
        return [("rate", named.rate.value)]
    settings: Mapping[str, Decimal | None] = {
        "good_bars": named.good_bars,
        "superfat": named.superfat,
        "lye_concentration": named.lye_concentration,
    }
    return [
        (kind, code)
        for kind, value in settings.items()
        if value is not None
        for code in (named.formulas or (EVERY,))
    ]


@dataclass(frozen=True, slots=True)
class Subjects:
    """Materials and offers by code, with their names."""

    materials: tuple[tuple[str, str], ...]
    offers: tuple[tuple[str, str], ...]


def subjects_on(on: date) -> Subjects:
    """What is offered on a day, by name. One query."""
    rows = (
        current_offers(on)
        .select_related("material", "supplier")
        .order_by("material__name", "supplier__name", "pack_written")[:MOST]
    )
    offers = list(rows)
    materials = {offer.material.code: offer.material.name for offer in offers}
    return Subjects(
        materials=tuple(materials.items()),
        offers=tuple((each.code, _name(each)) for each in offers),
    )


def _name(offer: "Offer") -> str:
    return f"{offer.material.name}, {offer.pack_written} of {offer.supplier.name}"
