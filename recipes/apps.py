from django.apps import AppConfig

from studio.web.pages.panels import SECTIONS, Section
from studio.web.pages.places import PLACES, Place


class RecipesConfig(AppConfig):
    name = "recipes"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Panels and causes read models, which exist only now that all apps are loaded.
        from inventory.queries.catalog.makers import MAKERS, QUESTIONS, Maker, Question  # noqa: PLC0415
        from inventory.services.events import judging_again  # noqa: PLC0415
        from recipes.pages.molds.use import mold_use_panel  # noqa: PLC0415
        from recipes.pages.studio_pages import (  # noqa: PLC0415
            batches_panel,
            register_finders,
            register_steps,
        )
        from recipes.queries.formulas.listed import recipes_making, recipes_with  # noqa: PLC0415
        from recipes.services.bench.judging import register_judging  # noqa: PLC0415
        from recipes.services.bench.keeping import settle_made  # noqa: PLC0415
        from recipes.services.bench.lot_holds import judge_again  # noqa: PLC0415
        from recipes.services.cure.cure import register_causes, register_checks  # noqa: PLC0415
        from recipes.services.events import batch_cured  # noqa: PLC0415
        from recipes.services.exchange.formulas import RECIPES  # noqa: PLC0415
        from recipes.services.molds.molds import MOLDS  # noqa: PLC0415
        from recipes.services.scales.scales import SCALES  # noqa: PLC0415
        from studio.work.exchange.registry import TABLES  # noqa: PLC0415

        register_causes()
        register_judging()
        register_checks()
        TABLES.register(MOLDS)
        TABLES.register(SCALES)
        TABLES.register(RECIPES)
        register_finders()
        register_steps()
        QUESTIONS.register(Question("recipes", recipes_with))
        MAKERS.register(Maker("recipes", recipes_making))
        SECTIONS.register(Section("batches", batches_panel, order=10))
        SECTIONS.register(Section("mold-use", mold_use_panel, order=40))
        PLACES.register(Place("recipes", "Recipes", url_name="recipes", order=30, daily=True))
        PLACES.register(Place("batches", "Batches", url_name="batches", order=40, daily=True))
        batch_cured.connect(settle_made)
        judging_again.connect(judge_again)
