"""Customers and quotes to look at. Nothing is changed here: the services hold the rules, and what
was sent is frozen."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from costing.models.quotes.customers import Customer
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine, QuoteMail


class LookOnly:
    """Takes every right to write away, from superusers too."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class QuoteLines(LookOnly, admin.TabularInline):  # type: ignore[type-arg]
    """Lines of a quote."""

    model = QuoteLine
    extra = 0


class QuoteEvents(LookOnly, admin.TabularInline):  # type: ignore[type-arg]
    """History of a quote."""

    model = QuoteEvent
    extra = 0


class QuoteMails(LookOnly, admin.TabularInline):  # type: ignore[type-arg]
    """Mails of a quote."""

    model = QuoteMail
    extra = 0


@admin.register(Customer)
class CustomerAdmin(LookOnly, admin.ModelAdmin):  # type: ignore[type-arg]
    """Customers by code."""

    list_display = ("code", "name", "tier", "discount", "tax_exempt", "active")
    list_filter = ("tier", "active", "tax_exempt")
    list_select_related = ("tier",)
    search_fields = ("code", "name", "email")


@admin.register(Quote)
class QuoteAdmin(LookOnly, admin.ModelAdmin):  # type: ignore[type-arg]
    """Quotes, newest first."""

    list_display = ("code", "customer", "state", "quoted_on", "valid_until", "total")
    list_filter = ("state",)
    list_select_related = ("customer",)
    search_fields = ("code", "customer__name")
    inlines = (QuoteLines, QuoteEvents, QuoteMails)
