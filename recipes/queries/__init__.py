"""The reads of the recipes: one function a question, each with a fixed number of queries."""

from recipes.queries.batches import batch_by_code, batch_needs, takes_of
from recipes.queries.formulas import LoadedFormula, ingredient_of, load_formula
from recipes.queries.molds import cut_of, mold_by_code, shape_of

__all__ = [
    "LoadedFormula",
    "batch_by_code",
    "batch_needs",
    "cut_of",
    "ingredient_of",
    "load_formula",
    "mold_by_code",
    "shape_of",
    "takes_of",
]
