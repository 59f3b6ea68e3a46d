"""The turn of those who change prices: a ladder is checked as a whole."""

from studio.work.turns import take_turn

PRICES = "costing.prices"


def take_prices() -> None:
    """Wait until nobody else changes prices or tiers, and hold that until the transaction ends."""
    take_turn(PRICES)
