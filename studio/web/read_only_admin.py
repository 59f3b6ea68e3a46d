"""The admin site shows rows and changes none: the services hold the rules, and it knows none."""

from collections.abc import Mapping
from typing import Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest, HttpResponse

#: Where a row is changed whose page nobody named.
ELSEWHERE = (
    "Nothing is changed here. Change it on the studio's pages or by its API: they keep its rules."
)


class LookOnly:
    """Takes every right to write away, from superusers too."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class LookOnlyAdmin(LookOnly, admin.ModelAdmin):  # type: ignore[type-arg]
    """A list and its rows, with a sentence on where to change them."""

    list_per_page = 50
    show_full_result_count = False
    actions = None
    #: In place of ELSEWHERE, for rows that are changed at one address.
    told = ELSEWHERE

    def changelist_view(
        self, request: HttpRequest, extra_context: Mapping[str, Any] | None = None
    ) -> HttpResponse:
        """The list, with the sentence below its title."""
        return super().changelist_view(request, {**(extra_context or {}), "subtitle": self.told})

    def change_view(
        self,
        request: HttpRequest,
        object_id: str,
        form_url: str = "",
        extra_context: Mapping[str, Any] | None = None,
    ) -> HttpResponse:
        """A row, with the sentence below its title."""
        told = {**(extra_context or {}), "subtitle": self.told}
        return super().change_view(request, object_id, form_url, told)


class LookOnlyInline(LookOnly, admin.TabularInline):  # type: ignore[type-arg]
    """Rows that belong to another."""

    extra = 0


def look_only(
    model: type[Model],
    columns: str,
    *,
    filters: str = "",
    search: str = "",
    lines: tuple[type[LookOnlyInline], ...] = (),
    **options: Any,
) -> None:
    """Show the rows of a model with these columns; names are parted by blanks."""
    shown = tuple(columns.split())
    related = {field.name for field in model._meta.fields if field.is_relation}
    admin.site.register(
        model,
        LookOnlyAdmin,
        list_display=shown,
        list_filter=tuple(filters.split()),
        search_fields=tuple(search.split()),
        list_select_related=tuple(name for name in shown if name in related),
        inlines=lines,
        **options,
    )


def lines_of(model: type[Model], fields: str = "", **options: Any) -> type[LookOnlyInline]:
    """Rows that belong to another, with these fields or all of them."""
    named = {"fields": tuple(fields.split())} if fields else {}
    return type(f"{model.__name__}Lines", (LookOnlyInline,), {"model": model, **named, **options})
