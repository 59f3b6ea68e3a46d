"""Tiers: the steps of the price ladder, and the ladder that a studio may start from."""

from collections import defaultdict
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import transaction

from costing.domain.prices.ladder import ladder_faults
from costing.errors import LadderThere, TierRefusal
from costing.models.prices.prices import PriceEntry, Tier
from costing.queries.prices.prices import coin, entries_on, tier_ladders
from costing.services.prices.prices import take_prices
from costing.services.rows import keep_row, row_to_change
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY, PER_UNIT
from studio.models import Unchanged

HIGHEST_STEP = MAX_MONEY // PER_UNIT


@dataclass(frozen=True, slots=True, kw_only=True)
class TierDescription:
    """All that is kept of a `costing.models.prices.prices.Tier`. `step` 0 is the smallest coin."""

    code: str
    name: str
    position: int = 0
    wanted_margin: Decimal
    floor_margin: Decimal
    step: int = 0
    ending: int = 0
    tax_share: Decimal = Decimal(0)
    tax_included: bool = False
    active: bool = True


def start_ladder(*, by: By = None) -> list[Tier]:
    """Keep the three steps that many studios sell on, to be changed at will.

    Wholesale asks twice the cost of a bar, direct twice that, a distributor a sixth less than
    wholesale (common practice, no source). Prices end on five of the smallest coins where the
    currency has decimals. Raises LadderThere once there is any tier.
    """
    step = coin() if coin() == PER_UNIT else 5 * coin()
    shares = [
        ("direct", "Direct", "0.75", "0.5"),
        ("wholesale", "Wholesale", "0.5", "0.35"),
        ("distributor", "Distributor", "0.4", "0.25"),
    ]
    with transaction.atomic():
        take_prices()
        if Tier.objects.exists():
            raise LadderThere("There are tiers already: add or change single ones.")
        return [
            save_tier(
                TierDescription(
                    code=code,
                    name=name,
                    position=place,
                    wanted_margin=Decimal(wanted),
                    floor_margin=Decimal(floor),
                    step=step,
                ),
                by=by,
            )
            for place, (code, name, wanted, floor) in enumerate(shares, start=1)
        ]


@transaction.atomic
def save_tier(
    described: TierDescription,
    *,
    row_id: int | None = None,
    unchanged: Unchanged | None = None,
    on: date | None = None,
    by: By = None,
) -> Tier:
    """Keep a tier: a new one, or in place of what `row_id` was.

    The prices in its lists stay. With `on` the lists of that day are looked at: a change that
    would turn a ladder upside down, or that would change what its prices mean, is refused.
    Raises TierRefusal with every fault, NotFound for an unknown id.
    """
    take_prices()
    tier = row_to_change(Tier, row_id, unchanged)
    faults = Faults()
    _check(faults, described)
    listed = tier.pk is not None and PriceEntry.objects.filter(tier=tier).exists()
    if listed and tier.tax_included != described.tax_included:
        faults.add(
            "prices-there",
            "Its prices were set with tax the other way: add a tier of its own instead.",
            "tax_included",
        )
    faults.raise_if_any(TierRefusal)
    for each in fields(described):
        setattr(tier, each.name, getattr(described, each.name))
    tier.step = described.step or coin()
    taken = TierRefusal(f"There is a tier {described.code} already.", field="code")
    keep_row(tier, by=by, taken=taken)
    if listed and on is not None:
        _check_lists(on)
    return tier


def _check(faults: Faults, described: TierDescription) -> None:
    wanted, floor = described.wanted_margin, described.floor_margin
    if not 0 <= floor < 1:
        faults.add("out-of-range", "A floor margin is at least 0 and less than 1.", "floor_margin")
    if not floor <= wanted < 1:
        faults.add(
            "out-of-range",
            "The wanted margin is at least the floor margin, and less than 1.",
            "wanted_margin",
        )
    if not 0 <= described.tax_share < 1:
        faults.add("out-of-range", "The tax is at least 0 and less than 1.", "tax_share")
    step = described.step or coin()
    if not 1 <= step <= HIGHEST_STEP or step % coin():
        faults.add("not-in-coins", f"A price step is a multiple of {_coin_words()}.", "step")
    if not 0 <= described.ending < step or described.ending % coin():
        faults.add(
            "not-in-coins",
            f"A price ending is a multiple of {_coin_words()} and less than the step.",
            "ending",
        )


def _check_lists(on: date) -> None:
    """Refuse when some product's list of the day is upside down now. One query."""
    by_product: dict[int, list[PriceEntry]] = defaultdict(list)
    for entry in entries_on(on):
        by_product[entry.product_id].append(entry)
    faults = Faults()
    for entries in by_product.values():
        for fault in ladder_faults(tier_ladders(entries), field="position"):
            faults.add(fault.code, f"{entries[0].product.name}: {fault.message}", fault.field)
    faults.raise_if_any(TierRefusal)


def _coin_words() -> str:
    return f"the smallest coin of {settings.STUDIO_CURRENCY}"
