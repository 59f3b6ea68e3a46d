"""Rows of costing."""

from costing.models.conversion import Conversion
from costing.models.rates import RATE_KINDS, Rate

__all__ = ["RATE_KINDS", "Conversion", "Rate"]
