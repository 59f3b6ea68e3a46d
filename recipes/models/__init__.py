"""Rows of the recipes."""

from recipes.models.batches import Batch, BatchLine, BatchState
from recipes.models.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.models.molds import Mold

__all__ = [
    "Batch",
    "BatchLine",
    "BatchState",
    "Formula",
    "FormulaKind",
    "FormulaLine",
    "FormulaVersion",
    "Mold",
]
