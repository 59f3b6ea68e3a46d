"""The first steps of a new studio that concern the bench."""

from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from studio.web.pages.start import STEPS, Step


def register_steps() -> None:
    """A mold and a recipe."""
    STEPS.register(
        Step(
            "mold",
            "A mold",
            why="Its inner measures, or its measured volume: recipes are scaled to fill it.",
            done=Mold.objects.exists,
            verb="Add a mold",
            pages=("mold-new",),
            order=30,
        )
    )
    STEPS.register(
        Step(
            "recipe",
            "A recipe",
            why="Fats as shares, superfat and lye concentration; the lye is worked out.",
            done=Formula.objects.exists,
            verb="Write a recipe",
            pages=("recipe-new",),
            order=40,
        )
    )
