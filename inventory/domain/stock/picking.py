"""Which lots cover a need: the maker's own choice first, then first-expired-first-out.

Picking only reads. Whoever writes the reservation does so for all materials or for none.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from inventory.domain.stock.days import DayRule
from inventory.domain.stock.freshness import is_expired
from inventory.domain.stock.lots import (
    LotState,
    LotView,
    first_expired_first_out,
    is_usable,
    oldest_first,
)
from inventory.errors import LotNotUsable
from studio.foundation.errors import Faults, InvalidInput


@dataclass(frozen=True, slots=True)
class Pick:
    """An amount to take from one lot."""

    lot: LotView
    amount: int


@dataclass(frozen=True, slots=True)
class Choice:
    """A lot the maker chose; without an amount, as much of it as the need asks for."""

    lot: LotView
    amount: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortage:
    """A material of which less is available than is needed."""

    material: int
    needed: int
    available: int

    @property
    def short(self) -> int:
        """What is missing."""
        return self.needed - self.available


@dataclass(frozen=True, slots=True, kw_only=True)
class PickPlan:
    """Picks for each material that is covered, and a shortage for each that is not."""

    picks: Mapping[int, tuple[Pick, ...]]
    shortages: tuple[Shortage, ...]

    @property
    def is_covered(self) -> bool:
        """Whether every need is covered in full."""
        return not self.shortages


NO_CHOICES: Mapping[int, Sequence[Choice]] = MappingProxyType({})


def pick(
    need: int,
    lots: Iterable[LotView],
    *,
    material: int,
    on: date,
    chosen: Sequence[Choice] = (),
    oldest: bool = False,
) -> tuple[Pick, ...] | Shortage:
    """Cover `need` of one material from its lots on the day `on`, or say what is short.

    Chosen lots come first, in the order given; then first-expired-first-out, or with `oldest`
    those that came first. Lots that aren't released, came in later or are expired by then are never
    picked, save that unsafe soap may be chosen for a rebatch. Raises
    LotNotUsable with every fault of the choice, InvalidInput for a negative need.
    """
    return pick_in_order(
        need,
        sorted(lots, key=oldest_first if oldest else first_expired_first_out),
        material=material,
        on=on,
        chosen=chosen,
    )


def pick_in_order(
    need: int,
    ordered: Iterable[LotView],
    *,
    material: int,
    on: date,
    chosen: Sequence[Choice] = (),
) -> tuple[Pick, ...] | Shortage:
    """As `pick`, from lots that already come in the order of use; reads no further than needed."""
    if need < 0:
        raise InvalidInput("A need cannot be below zero.", field="need", details={"need": need})
    _check_choice(need, chosen, material=material, on=on)
    picks: list[Pick] = []
    for choice in chosen:
        wanted = choice.lot.available if choice.amount is None else choice.amount
        amount = min(wanted, need - _total(picks))
        if amount:
            picks.append(Pick(choice.lot, amount))
    return _fill_up(need, picks, ordered, material=material, on=on)


def _fill_up(
    need: int,
    picks: list[Pick],
    ordered: Iterable[LotView],
    *,
    material: int,
    on: date,
) -> tuple[Pick, ...] | Shortage:
    """Add lots in order until the need is covered; of a lot picked in part, its rest may follow."""
    already = {picked.lot.id: index for index, picked in enumerate(picks)}
    left = need - _total(picks)
    if left == 0:
        return tuple(picks)
    for lot in ordered:
        if lot.material != material or not is_usable(lot, on=on):
            continue
        index = already.get(lot.id)
        amount = min(left, lot.available - (0 if index is None else picks[index].amount))
        if index is None:
            picks.append(Pick(lot, amount))
        else:
            picks[index] = Pick(lot, picks[index].amount + amount)
        left -= amount
        if left == 0:
            return tuple(picks)
    return Shortage(material=material, needed=need, available=need - left)


def pick_all(
    needs: Mapping[int, int],
    lots: Iterable[LotView],
    *,
    on: date,
    chosen: Mapping[int, Sequence[Choice]] = NO_CHOICES,
    oldest: bool = False,
) -> PickPlan:
    """Cover every material's need, each from its own lots; name every shortage.

    `needs` and `chosen` are keyed by material id. A plan with a shortage must not be reserved in
    part. Raises LotNotUsable with all faults of all choices, InvalidInput for negative needs.
    """
    by_material: dict[int, list[LotView]] = defaultdict(list)
    for lot in lots:
        by_material[lot.material].append(lot)
    faults = _needless_choices(needs, chosen)
    picks: dict[int, tuple[Pick, ...]] = {}
    shortages: list[Shortage] = []
    for material, need in needs.items():
        try:
            result = pick(
                need,
                by_material[material],
                material=material,
                on=on,
                chosen=chosen.get(material, ()),
                oldest=oldest,
            )
        except LotNotUsable as refusal:
            faults.take(refusal, under=f"chosen.{material}")
            continue
        if isinstance(result, Shortage):
            shortages.append(result)
        else:
            picks[material] = result
    faults.raise_if_any(LotNotUsable)
    return PickPlan(picks=MappingProxyType(picks), shortages=tuple(shortages))


def _total(picks: Iterable[Pick]) -> int:
    return sum(picked.amount for picked in picks)


def _needless_choices(needs: Mapping[int, int], chosen: Mapping[int, Sequence[Choice]]) -> Faults:
    """A fault for each chosen material that isn't needed at all."""
    faults = Faults()
    for material in chosen:
        if material not in needs:
            faults.add(
                "material-not-needed",
                "A lot was chosen for a material that is not needed here.",
                f"chosen.{material}",
                material=material,
            )
    return faults


def _check_choice(need: int, chosen: Sequence[Choice], *, material: int, on: date) -> None:
    """Refuse, with all that is wrong, a choice that can't be followed to the letter."""
    faults = Faults()
    seen: set[int] = set()
    for index, choice in enumerate(chosen):
        _check_lot(faults, choice, material=material, on=on, field=str(index))
        if choice.lot.id in seen:
            faults.add("lot-chosen-twice", f"Lot {choice.lot.code} is chosen twice.", str(index))
        seen.add(choice.lot.id)
    stated = sum(choice.amount or 0 for choice in chosen)
    if stated > need:
        faults.add(
            "more-chosen-than-needed",
            "The chosen amounts add up to more than is needed.",
            "",
            needed=need,
            chosen=stated,
        )
    faults.raise_if_any(LotNotUsable)


def _check_lot(faults: Faults, choice: Choice, *, material: int, on: date, field: str) -> None:
    lot = choice.lot
    if lot.material != material:
        faults.add("lot-of-another-material", f"Lot {lot.code} is another material.", field)
    if lot.state != LotState.RELEASED and not lot.for_rebatch:
        faults.add(f"lot-{lot.state}", f"Lot {lot.code} is not released ({lot.state}).", field)
    if on < lot.received_on:
        faults.add(
            DayRule.BEFORE_RECEIPT.value,
            f"Lot {lot.code} came in on {lot.received_on}, after {on}. If it was here before, "
            "correct the day it came in.",
            field,
            lot=lot.code,
            received_on=lot.received_on.isoformat(),
        )
    if is_expired(lot.best_before, on=on):
        faults.add(
            "lot-expired",
            f"Lot {lot.code} has passed its best before ({lot.best_before}).",
            field,
        )
    if choice.amount is not None and choice.amount <= 0:
        faults.add("amount-not-positive", "The chosen amount must be above zero.", field)
    if lot.available < (1 if choice.amount is None else choice.amount):
        faults.add(
            "lot-has-too-little",
            f"Lot {lot.code} has less available than was chosen.",
            field,
            chosen=choice.amount,
            available=lot.available,
        )
