"""What an ingredient of a plan consists of, as long as no lot of it is known."""

from decimal import Decimal

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.contents import Contents, of_leaf
from inventory.domain.stock.leaves import NONE, Leaf, Span, demand_span
from recipes.domain.formulas.formula import ONE, Ingredient


def inside_of(ingredient: Ingredient) -> Contents:
    """By the recipe that makes it, where one does, else by its own values.

    Alkali of which nobody stated more counts as pure.
    """
    if ingredient.inside is not None:
        return ingredient.inside
    alkali = ingredient.alkali
    if not alkali and ingredient.kind is MaterialKind.ALKALI:
        alkali = "NaOH"
    return of_leaf(
        Leaf(
            code=ingredient.code,
            name=ingredient.name,
            kind=ingredient.kind,
            alkali=alkali,
            purity=Span.exactly(ONE) if alkali else NONE,
            demand=demand_span(
                ingredient.sv_mg_koh_g, ingredient.sv_low, ingredient.sv_high, kind=ingredient.kind
            ),
            water_share=ingredient.water_share,
            acid_naoh=ingredient.acid_naoh_g_per_g or Decimal(0),
            carbonate_naoh=ingredient.carbonate_naoh_g_per_g,
            ifra_category9_max=ingredient.ifra_category9_max_share,
        )
    )


def of_slot(name: str, *, usual: Decimal, most: Decimal | None = None) -> Contents:
    """What is weighed as "naoh" or "koh", by how much of it is that, and may be at most."""
    span = Span(usual, usual, max(usual, most or usual))
    return Contents(koh=span) if name == "koh" else Contents(naoh=span)
