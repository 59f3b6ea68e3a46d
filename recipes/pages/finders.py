"""Search finds recipes, molds and batches by name or code."""

from django.db.models import Q

from recipes.models.bench.batches import Batch, BatchState
from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from studio.web.pages.places import page_address
from studio.web.pages.search import FINDERS, Finder, Found


def register_finders() -> None:
    """Recipes, molds and batches."""
    FINDERS.register(
        Finder("recipes", "Recipes", find=find_recipes, by_code=recipe_address, order=30)
    )
    FINDERS.register(Finder("molds", "Molds", find=find_molds, by_code=mold_address, order=35))
    FINDERS.register(
        Finder("batches", "Batches", find=find_batches, by_code=batch_address, order=40)
    )


def find_recipes(text: str, limit: int) -> list[Found]:
    """Recipes whose name or code holds the text. One query."""
    rows = Formula.objects.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return [
        Found(row.name, row.code, row.get_kind_display(), page_address("recipe-page", row.code))
        for row in rows.order_by("name", "id")[:limit]
    ]


def find_molds(text: str, limit: int) -> list[Found]:
    """Molds whose name or code holds the text. One query."""
    rows = Mold.objects.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return [
        Found(row.name, row.code, row.get_shape_display(), page_address("mold-page", row.code))
        for row in rows.order_by("name", "id")[:limit]
    ]


def find_batches(text: str, limit: int) -> list[Found]:
    """Batches whose code or recipe holds the text, the newest first. One query."""
    rows = Batch.objects.filter(
        Q(code__icontains=text) | Q(version__formula__name__icontains=text)
    ).select_related("version__formula")
    return [
        Found(
            row.version.formula.name,
            row.code,
            BatchState(row.state).label.lower(),
            _page_of(row.code),
        )
        for row in rows.order_by("-planned_on", "-id")[:limit]
    ]


def recipe_address(code: str) -> str:
    """The page of the recipe with exactly this code, or "". One query."""
    found = Formula.objects.filter(code__iexact=code).values_list("code", flat=True).first()
    return page_address("recipe-page", found) if found else ""


def mold_address(code: str) -> str:
    """The page of the mold with exactly this code, or "". One query."""
    found = Mold.objects.filter(code__iexact=code).values_list("code", flat=True).first()
    return page_address("mold-page", found) if found else ""


def batch_address(code: str) -> str:
    """The page of the batch with exactly this code, or "". One query."""
    found = Batch.objects.filter(code__iexact=code).values_list("code", flat=True).first()
    return _page_of(found) if found else ""


def _page_of(code: str) -> str:
    return page_address("batch-page", code) or page_address("batch-sheet-page", code)
