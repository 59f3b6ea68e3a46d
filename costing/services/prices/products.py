"""Products: what is sold, a recipe's bar packed in a certain way."""

from dataclasses import dataclass

from django.db import transaction

from costing.errors import StandardRefusal
from costing.models.bar_cost.packaging import PackagingSet
from costing.models.prices.prices import Product
from costing.services.rows import keep_row, row_to_change
from recipes.queries.formulas.formulas import formula_by_code
from recipes.queries.molds.molds import mold_by_code
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound
from studio.models import Unchanged
from studio.work.cleaning import take_clashes, take_field_faults

_TEXTS = ("code", "name", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductDescription:
    """All that is kept of a product; formula, mold and packaging set by their codes.

    Without a packaging set it is not known how it is packed, unless it `needs_no_packing`.
    """

    code: str
    name: str
    formula: str
    mold: str
    packaging_set: str | None = None
    needs_no_packing: bool = False
    active: bool = True
    note: str = ""


@transaction.atomic
def save_product(
    described: ProductDescription,
    *,
    row_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> Product:
    """Keep a product: a new one, or in place of what `row_id` was.

    Raises StandardRefusal with every fault (a formula that makes no bars; another formula for a
    product that is there: its prices and orders are of its bars), NotFound for an unknown id.
    """
    row = row_to_change(Product, row_id, unchanged)
    for name in (*_TEXTS, "active", "needs_no_packing"):
        setattr(row, name, getattr(described, name))
    faults = Faults()
    _name_parts(row, described, faults)
    take_field_faults(faults, row, only=_TEXTS)
    if not faults:
        take_clashes(faults, row, only=("code",))
    faults.raise_if_any(StandardRefusal)
    return keep_row(row, by=by)


def _name_parts(row: Product, described: ProductDescription, faults: Faults) -> None:
    """Set what the product names by code, noting what is not there or cannot be sold."""
    is_new = row.pk is None
    try:
        formula = formula_by_code(described.formula)
        if formula.kind != "soap":
            faults.add("makes-no-bars", f"{formula.name} makes no bars to sell.", "formula")
        if not is_new and row.formula_id != formula.pk:
            faults.add(
                "formula-is-fixed",
                "Its prices and orders are of its bars; make another product instead.",
                "formula",
            )
        row.formula = formula
    except NotFound as refusal:
        faults.take(refusal)
    try:
        row.mold = mold_by_code(described.mold)
    except NotFound as refusal:
        faults.take(refusal)
    row.packaging_set = None
    if described.packaging_set is not None and described.needs_no_packing:
        faults.add(
            "packed-and-not",
            "Either a packaging set packs it, or it needs no packing.",
            "needs_no_packing",
        )
    if described.packaging_set is not None:
        row.packaging_set = PackagingSet.objects.filter(code=described.packaging_set).first()
        if row.packaging_set is None:
            faults.add(
                "not-found", f"There is no packaging set {described.packaging_set}.",
                "packaging_set",
            )  # fmt: skip
