"""Recipes in the admin site: molds may be kept here; what services write is only shown."""

from typing import Any

from django import forms
from django.contrib import admin
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.formulas.formulas import Formula, FormulaLine, FormulaVersion
from recipes.models.molds.molds import Mold
from recipes.services.molds.molds import check_mold
from studio.foundation.errors import InvalidInput


class Shown:
    """Rows that a service writes: the site shows them and changes nothing."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class MoldForm(forms.ModelForm):  # type: ignore[type-arg]
    """A mold, checked as the service checks it. Lengths in nm, volume in nL."""

    class Meta:
        model = Mold
        fields = "__all__"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            for field in Mold._meta.fields:
                if cleaned.get(field.name, 0) is None and not field.null:
                    cleaned[field.name] = field.get_default()
            try:
                check_mold(Mold(**cleaned))
            except InvalidInput as refusal:
                raise ValidationError(
                    {fault.field: fault.message for fault in refusal.faults}
                ) from refusal
        return cleaned


@admin.register(Mold)
class MoldAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Molds by shape."""

    form = MoldForm
    list_display = ("code", "name", "shape", "cavities", "active")
    list_filter = ("shape", "active")
    search_fields = ("code", "name")

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        obj.revision += int(change)
        super().save_model(request, obj, form, change)


class FormulaVersionInline(Shown, admin.TabularInline):  # type: ignore[type-arg]
    """The versions of a formula."""

    model = FormulaVersion
    fields = ("number", "superfat", "lye_concentration", "koh_share", "frozen_at")
    show_change_link = True


class FormulaLineInline(Shown, admin.TabularInline):  # type: ignore[type-arg]
    """The lines of a version."""

    model = FormulaLine
    fields = ("position", "material", "basis", "amount", "stage", "portion")


class BatchLineInline(Shown, admin.TabularInline):  # type: ignore[type-arg]
    """What a batch weighs and counts, in ng and pieces."""

    model = BatchLine
    fields = ("position", "part", "material", "stage", "planned", "actual")


@admin.register(Formula)
class FormulaAdmin(Shown, admin.ModelAdmin):  # type: ignore[type-arg]
    """Formulas with their versions."""

    list_display = ("code", "name", "kind", "active")
    list_filter = ("kind", "active")
    search_fields = ("code", "name")
    inlines = (FormulaVersionInline,)


@admin.register(FormulaVersion)
class FormulaVersionAdmin(Shown, admin.ModelAdmin):  # type: ignore[type-arg]
    """Versions with their lines."""

    list_display = ("formula", "number", "superfat", "lye_concentration", "frozen_at")
    list_select_related = ("formula",)
    inlines = (FormulaLineInline,)


@admin.register(Batch)
class BatchAdmin(Shown, admin.ModelAdmin):  # type: ignore[type-arg]
    """Batches with what they weigh."""

    list_display = ("code", "version", "state", "planned_on", "bars_planned", "bars_good")
    list_filter = ("state",)
    list_select_related = ("version",)
    search_fields = ("code", "version__formula__code")
    inlines = (BatchLineInline,)
