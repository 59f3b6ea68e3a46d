"""The reads of the inventory: one function a question, each with a fixed number of queries."""

from inventory.queries.documents import Take, held_by_reservation, held_for, takes_for
from inventory.queries.offers import best_offers, current_offers
from inventory.queries.orders import coverage_dates, on_order
from inventory.queries.positions import StockPosition, stock_positions
from inventory.queries.stock import available_by_material, held_on_average, usable
from inventory.queries.supplies import being_made, supplies

__all__ = [
    "StockPosition",
    "Take",
    "available_by_material",
    "being_made",
    "best_offers",
    "coverage_dates",
    "current_offers",
    "held_by_reservation",
    "held_for",
    "held_on_average",
    "on_order",
    "stock_positions",
    "supplies",
    "takes_for",
    "usable",
]
