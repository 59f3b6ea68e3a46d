"""Tiers: the ladder to start from, and what a step may not be."""

from decimal import Decimal

import pytest

from costing.domain.prices.pricing import margin_of
from costing.errors import LadderThere, TierRefusal
from costing.models.prices.prices import Tier
from costing.services.prices.tiers import TierDescription, save_tier, start_ladder
from studio.foundation.errors import NotFound
from tests.costing.priced import a_shelf, floor_of, priced
from tests.costing.selling import a_tier
from tests.inventory.buying import faults_of
from tests.inventory.making import TODAY


def described(tier, **values):
    names = ("code", "name", "position", "wanted_margin", "floor_margin", "step", "ending")
    names += ("tax_share", "tax_included", "active")
    return TierDescription(**{**{name: getattr(tier, name) for name in names}, **values})


def test_the_starting_ladder_doubles_twice_and_is_offered_once(database):
    made = start_ladder()
    assert [tier.code for tier in made] == ["direct", "wholesale", "distributor"]
    assert [tier.step for tier in made] == [500] * 3
    direct, wholesale, distributor = (1 / (1 - tier.wanted_margin) for tier in made)
    assert (direct, wholesale) == (4, 2)
    assert margin_of(20_000, 10_000) == made[1].wanted_margin
    assert distributor < wholesale
    with pytest.raises(LadderThere):
        start_ladder()


@pytest.mark.parametrize(("currency", "step"), [("JPY", 10_000), ("USD", 500), ("TND", 50)])
def test_prices_start_in_the_coins_of_the_currency(db, settings, currency, step):
    settings.STUDIO_CURRENCY = currency
    assert {tier.step for tier in start_ladder()} == {step}


def test_what_a_step_may_not_be_is_told_at_once(db):
    with pytest.raises(TierRefusal) as refused:
        save_tier(
            TierDescription(
                code="odd",
                name="Odd",
                wanted_margin=Decimal("0.2"),
                floor_margin=Decimal("0.3"),
                step=550,
                ending=550,
                tax_share=Decimal(1),
            )
        )
    assert faults_of(refused) == {
        ("out-of-range", "wanted_margin"),
        ("out-of-range", "tax_share"),
        ("not-in-coins", "step"),
        ("not-in-coins", "ending"),
    }
    a_tier("taken")
    with pytest.raises(TierRefusal, match="already"):
        save_tier(described(Tier.objects.get(), step=0))
    with pytest.raises(NotFound):
        save_tier(described(Tier.objects.get(), code="new", step=100), row_id=0)


def test_a_change_must_not_turn_what_is_listed_upside_down(database):
    product, tier, _ = a_shelf()
    direct = a_tier("direct", position=0, step=500)
    save_tier(described(tier, position=1), row_id=tier.pk, on=TODAY)
    base = floor_of(product, tier)
    priced(product, direct, base + 500)
    priced(product, tier, base)
    with pytest.raises(TierRefusal, match="would ask more than"):
        save_tier(described(direct, position=2), row_id=direct.pk, on=TODAY)
    with pytest.raises(TierRefusal, match="tax the other way"):
        save_tier(described(direct, tax_included=True), row_id=direct.pk, on=TODAY)
    tier.refresh_from_db()
    kept = save_tier(described(tier, wanted_margin=Decimal("0.6")), row_id=tier.pk, on=TODAY)
    assert (kept.wanted_margin, kept.revision) == (Decimal("0.6"), 3)
    assert Tier.objects.get(code="direct").position == 0
