"""Rows of the recipes."""

import recipes.models.bench.batches
import recipes.models.bench.judgements
import recipes.models.cure.finishing
import recipes.models.formulas.accepted
import recipes.models.formulas.formulas
import recipes.models.molds.molds
import recipes.models.scales.scales
