"""Rows of the recipes."""

from recipes.models.batches import Batch, BatchLine, BatchState
from recipes.models.finishing import CureChoice, CureWeighing, CutRecord
from recipes.models.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.models.molds import Mold
from recipes.models.portions import FormulaPortion, PourLayer
from recipes.models.weighings import Weighing

__all__ = [
    "Batch",
    "BatchLine",
    "BatchState",
    "CureChoice",
    "CureWeighing",
    "CutRecord",
    "Formula",
    "FormulaKind",
    "FormulaLine",
    "FormulaPortion",
    "FormulaVersion",
    "Mold",
    "PourLayer",
    "Weighing",
]
