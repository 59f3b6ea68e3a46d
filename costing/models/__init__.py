"""Rows of costing."""

from costing.models.conversion import Conversion
from costing.models.rates import Rate, RateKind

__all__ = ["Conversion", "Rate", "RateKind"]
