"""The price list: a price holds from a day until the next one of its product, tier and quantity."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from costing.domain.prices.ladder import ladder_faults
from costing.errors import PriceRefusal, PriceTaken, PriceUnderFloor
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.queries.prices.prices import Floor, Pair, coin, floors, tier_ladders
from costing.services.rows import keep_row
from studio.foundation.doers import By
from studio.foundation.errors import Fault, Faults, NotFound
from studio.foundation.local_words import exact_money
from studio.foundation.money import MAX_MONEY
from studio.foundation.roles import Role, role_of
from studio.work.leases import take_turn

PRICES = "costing.prices"
MOST_TOGETHER = 200
MOST_QUANTITY = 1_000_000
#: Half of what can be kept, so that tax and discounts never leave the range.
HIGHEST_PRICE = MAX_MONEY // 2 // MOST_QUANTITY
_VALUES = ("price", "floor", "ended_on")


def take_prices() -> None:
    """Wait until nobody else changes prices or tiers, and hold that until the transaction ends."""
    take_turn(PRICES)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceDescription:
    """A price by the bar (ten-thousandths) as the tier writes it; product and tier are codes."""

    product: str
    tier: str
    price: int
    effective_from: date
    from_quantity: int = 1
    floor: int | None = None
    ended_on: date | None = None


@transaction.atomic
def set_prices(
    described: Sequence[PriceDescription],
    *,
    override_reason: str = "",
    by: By = None,
) -> list[PriceEntry]:
    """Keep new prices, each from its day on; those before it stay as history.

    They are checked together with all that is listed, on every day on which something changes from
    then on: a larger quantity never costs more by the bar, and no tier is dearer than one before
    it. A price under its floor is kept only for an owner who states why. Raises PriceRefusal with
    every fault, PriceTaken for a day that has its price already, PriceUnderFloor.
    """
    take_prices()
    new = _read(described)
    _refuse_taken(new)
    _check_ladders(new)
    _check_floors(new, reason=override_reason, by=by)
    return [keep_row(entry, by=by) for entry in new]


@transaction.atomic
def change_price(
    entry_id: int,
    *,
    on: date,
    price: int,
    floor: int | None,
    ended_on: date | None,
    override_reason: str = "",
    by: By = None,
) -> PriceEntry:
    """Correct an entry, give it a floor of its own, or end it. `on` is the present day.

    A price that was in force before that day stays as it was: set a new one instead. Nor does a
    price end on a day that has passed. Raises as `set_prices`, and NotFound.
    """
    take_prices()
    entry = _locked(entry_id)
    before = {name: getattr(entry, name) for name in _VALUES}
    _refuse_rewriting(entry, on=on, price=price, ended_on=ended_on)
    entry.price, entry.floor, entry.ended_on = price, floor, ended_on
    faults = Faults()
    _check_values(faults, entry, under="")
    faults.raise_if_any(PriceRefusal)
    _check_ladders([entry])
    if before["price"] != price or before["floor"] != floor:
        _check_floors([entry], reason=override_reason, by=by)
    entry.revision += 1
    return keep_row(entry, by=by)


def _read(described: Sequence[PriceDescription]) -> list[PriceEntry]:
    """Entries, not yet kept. Two queries. Raises PriceRefusal."""
    faults = Faults()
    if not 1 <= len(described) <= MOST_TOGETHER:
        raise PriceRefusal(f"Set from 1 to {MOST_TOGETHER} prices together.", field="entries")
    products = {row.code: row for row in Product.objects.filter(_among(described, "product"))}
    tiers = {row.code: row for row in Tier.objects.filter(_among(described, "tier"))}
    made = []
    for index, each in enumerate(described):
        under = "" if len(described) == 1 else f"entries.{index}."
        product, tier = products.get(each.product), tiers.get(each.tier)
        if product is None:
            faults.add("not-found", f"There is no product {each.product}.", f"{under}product")
        if tier is None:
            faults.add("not-found", f"There is no tier {each.tier}.", f"{under}tier")
        if product is None or tier is None:
            continue
        entry = PriceEntry(
            product=product,
            tier=tier,
            from_quantity=each.from_quantity,
            price=each.price,
            floor=each.floor,
            effective_from=each.effective_from,
            ended_on=each.ended_on,
        )
        _check_values(faults, entry, under=under)
        made.append(entry)
    faults.raise_if_any(PriceRefusal)
    return made


def _among(described: Iterable[PriceDescription], name: str) -> Q:
    return Q(code__in={getattr(each, name) for each in described})


def _check_values(faults: Faults, entry: PriceEntry, *, under: str) -> None:
    smallest = coin()
    for name, value in (("price", entry.price), ("floor", entry.floor)):
        if value is None:
            continue
        if not 0 < value <= HIGHEST_PRICE:
            faults.add("out-of-range", f"A {name} is above zero and not too large.", under + name)
        elif value % smallest:
            faults.add(
                "not-in-coins",
                f"A {name} is in whole coins of {settings.STUDIO_CURRENCY}: "
                f"{exact_money(smallest)} is the smallest.",
                under + name,
            )
    if not 1 <= entry.from_quantity <= MOST_QUANTITY:
        faults.add(
            "out-of-range", f"A quantity is from 1 to {MOST_QUANTITY}.", f"{under}from_quantity"
        )
    if entry.ended_on is not None and entry.ended_on < entry.effective_from:
        faults.add("dates-reversed", "The price ends before it begins.", f"{under}ended_on")


def _refuse_taken(new: Sequence[PriceEntry]) -> None:
    """Raises PriceTaken when a price starts on that day already, or two would. One query."""
    faults = Faults()
    there = {
        _key(entry) for entry in PriceEntry.objects.filter(product__in={e.product_id for e in new})
    }
    for entry in new:
        if _key(entry) in there:
            faults.add(
                "price-taken",
                f"{entry.product.name} for {entry.tier.name} from {entry.from_quantity} has a "
                f"price from {entry.effective_from} already: start on another day, or correct it.",
                "effective_from",
            )
        there.add(_key(entry))
    faults.raise_if_any(PriceTaken)


def _key(entry: PriceEntry) -> tuple[int, int, int, date]:
    return entry.product_id, entry.tier_id, entry.from_quantity, entry.effective_from


def _check_ladders(new: Sequence[PriceEntry]) -> None:
    """Look at the products' ladders on every day on which they change from then on. One query."""
    since = min(entry.effective_from for entry in new)
    kept = PriceEntry.objects.filter(product__in={entry.product_id for entry in new}).exclude(
        pk__in=[entry.pk for entry in new if entry.pk]
    )
    by_product: dict[int, list[PriceEntry]] = defaultdict(list)
    for entry in (*kept.select_related("product", "tier"), *new):
        by_product[entry.product_id].append(entry)
    faults: dict[str, Fault] = {}
    for entries in by_product.values():
        days = {entry.effective_from for entry in entries}
        days |= {entry.ended_on for entry in entries if entry.ended_on}
        for day in sorted(day for day in days if day >= since):
            for fault in ladder_faults(tier_ladders(_in_force(entries, day))):
                faults.setdefault(
                    fault.message,
                    Fault(fault.code, f"{entries[0].product.name}: {fault.message}", fault.field),
                )
    if faults:
        raise PriceRefusal(faults=faults.values())


def _in_force(entries: Iterable[PriceEntry], day: date) -> list[PriceEntry]:
    newest: dict[tuple[int, int], PriceEntry] = {}
    for entry in sorted(entries, key=lambda each: each.effective_from):
        if entry.effective_from <= day:
            newest[entry.tier_id, entry.from_quantity] = entry
    return [each for each in newest.values() if each.ended_on is None or each.ended_on > day]


def _check_floors(new: Sequence[PriceEntry], *, reason: str, by: By) -> None:
    """Refuse prices under their floor, or keep the owner's reason with them.

    The floor is that of the day from which each price holds: offers that are dated are counted.
    Where it is not known, what is known of the cost says how low a price cannot be; above that it
    is kept, and the ladder says that its cost is not known.
    """
    found: dict[tuple[date, Pair], Floor] = {}
    for day in {entry.effective_from for entry in new}:
        those = [entry for entry in new if entry.effective_from == day]
        pairs = floors({e.product_id for e in those}, {e.tier_id for e in those}, on=day)
        found |= {(day, pair): floor for pair, floor in pairs.items()}
    faults = Faults()
    for entry in new:
        known = found[entry.effective_from, (entry.product_id, entry.tier_id)]
        floor = _floor_of(entry, known)
        entry.override_reason, entry.override_floor, entry.override_by = "", None, None
        if floor is None or entry.price >= floor:
            continue
        entry.override_reason, entry.override_floor, entry.override_by = reason.strip(), floor, by
        faults.add(
            "price-under-floor",
            f"{exact_money(entry.price)} for {entry.product.name} to {entry.tier.name} from "
            f"{entry.from_quantity} is under the floor {_words(known, entry)} "
            f"{exact_money(floor)}. Ask at least that, "
            "or state as an owner why it is sold for less (override_reason).",
            "price",
            floor=exact_money(floor),
        )
    if not (reason.strip() and role_of(by) is Role.OWNER):
        faults.raise_if_any(PriceUnderFloor)


def _floor_of(entry: PriceEntry, floor: Floor) -> int | None:
    if entry.floor is not None:
        return entry.floor
    by_cost = floor.by_cost(entry.from_quantity)
    return floor.by_what_is_known(entry.from_quantity) if by_cost is None else by_cost


def _words(floor: Floor, entry: PriceEntry) -> str:
    is_known = entry.floor is not None or floor.by_cost(entry.from_quantity) is not None
    return "of" if is_known else "that is not known, but at least"


def _refuse_rewriting(entry: PriceEntry, *, on: date, price: int, ended_on: date | None) -> None:
    faults = Faults()
    if price != entry.price and entry.effective_from < on:
        faults.add(
            "price-taken",
            f"That price has been in force since {entry.effective_from}: set a new one from a "
            "day on, and this one stays as history.",
            "price",
        )
    if ended_on != entry.ended_on and min(filter(None, (ended_on, entry.ended_on))) < on:
        faults.add("price-taken", "A price ends today or on a day to come.", "ended_on")
    faults.raise_if_any(PriceTaken)


def _locked(entry_id: int) -> PriceEntry:
    rows = PriceEntry.objects.select_for_update(of=("self",)).select_related("product", "tier")
    try:
        return rows.get(pk=entry_id)
    except PriceEntry.DoesNotExist:
        raise NotFound(f"There is no price with the id {entry_id}.", field="price") from None


@transaction.atomic
def put_price(
    described: PriceDescription,
    *,
    on: date,
    override_reason: str = "",
    by: By = None,
) -> PriceEntry:
    """Keep a price from its day on. `on` is the present day.

    Where one starts on that very day, and the day has not passed, it is corrected; else it is a new
    entry. Raises as `set_prices` and `change_price`.
    """
    there = PriceEntry.objects.filter(
        product__code=described.product,
        tier__code=described.tier,
        from_quantity=described.from_quantity,
        effective_from=described.effective_from,
    ).first()
    if there is None or there.effective_from < on:
        return set_prices([described], override_reason=override_reason, by=by)[0]
    return change_price(
        there.pk,
        on=on,
        price=described.price,
        floor=described.floor,
        ended_on=described.ended_on,
        override_reason=override_reason,
        by=by,
    )
