"""Entries of the price list as the rules of the ladder see them."""

from collections import defaultdict
from collections.abc import Iterable

from django.conf import settings

from costing.domain.prices.ladder import Rung, TierLadder
from costing.models.prices.prices import PriceEntry, Tier
from studio.foundation.money import PER_UNIT, currency_digits


def coin() -> int:
    """The smallest amount that the studio's currency is paid in, in ten-thousandths."""
    return int(PER_UNIT // 10 ** currency_digits(settings.STUDIO_CURRENCY))


def tier_ladders(entries: Iterable[PriceEntry]) -> list[TierLadder]:
    """One product's entries as ladders of its active tiers, highest step first."""
    rungs: dict[Tier, list[Rung]] = defaultdict(list)
    for entry in entries:
        if entry.tier.active:
            rung = Rung(from_quantity=entry.from_quantity, price=entry.price)
            rungs[entry.tier].append(rung)
    return [
        TierLadder(
            name=tier.name,
            rungs=tuple(rungs[tier]),
            tax_share=tier.tax_share,
            tax_included=tier.tax_included,
        )
        for tier in sorted(rungs, key=lambda each: (each.position, each.code))
    ]
