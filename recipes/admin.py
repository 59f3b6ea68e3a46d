"""Recipes to look at in the admin site; nothing is changed here."""

from django.contrib import admin

from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.formulas.formulas import Formula, FormulaLine, FormulaVersion
from recipes.models.molds.molds import Mold
from studio.web.read_only_admin import LookOnlyAdmin, LookOnlyInline


@admin.register(Mold)
class MoldAdmin(LookOnlyAdmin):
    """Molds by shape."""

    list_display = ("code", "name", "shape", "cavities", "active")
    list_filter = ("shape", "active")
    search_fields = ("code", "name")


class FormulaVersionInline(LookOnlyInline):
    """The versions of a formula."""

    model = FormulaVersion
    fields = ("number", "superfat", "lye_concentration", "koh_share", "frozen_at")
    show_change_link = True


class FormulaLineInline(LookOnlyInline):
    """The lines of a version."""

    model = FormulaLine
    fields = ("position", "material", "basis", "amount", "stage", "portion")


class BatchLineInline(LookOnlyInline):
    """What a batch weighs and counts, in ng and pieces."""

    model = BatchLine
    fields = ("position", "part", "material", "stage", "planned", "actual")


@admin.register(Formula)
class FormulaAdmin(LookOnlyAdmin):
    """Formulas with their versions."""

    list_display = ("code", "name", "kind", "active")
    list_filter = ("kind", "active")
    search_fields = ("code", "name")
    inlines = (FormulaVersionInline,)


@admin.register(FormulaVersion)
class FormulaVersionAdmin(LookOnlyAdmin):
    """Versions with their lines."""

    list_display = ("formula", "number", "superfat", "lye_concentration", "frozen_at")
    list_select_related = ("formula",)
    inlines = (FormulaLineInline,)


@admin.register(Batch)
class BatchAdmin(LookOnlyAdmin):
    """Batches with what they weigh."""

    list_display = ("code", "version", "state", "planned_on", "bars_planned", "bars_good")
    list_filter = ("state",)
    list_select_related = ("version",)
    search_fields = ("code", "version__formula__code")
    inlines = (BatchLineInline,)
