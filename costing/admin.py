"""Customers and quotes to look at. Nothing is changed here: the services hold the rules, and what
was sent is frozen."""

from django.contrib import admin

from costing.models.quotes.customers import Customer
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine, QuoteMail
from studio.web.read_only_admin import LookOnlyAdmin, LookOnlyInline


class QuoteLines(LookOnlyInline):
    """Lines of a quote."""

    model = QuoteLine


class QuoteEvents(LookOnlyInline):
    """History of a quote."""

    model = QuoteEvent


class QuoteMails(LookOnlyInline):
    """Mails of a quote."""

    model = QuoteMail


@admin.register(Customer)
class CustomerAdmin(LookOnlyAdmin):
    """Customers by code."""

    list_display = ("code", "name", "tier", "discount", "tax_exempt", "active")
    list_filter = ("tier", "active", "tax_exempt")
    list_select_related = ("tier",)
    search_fields = ("code", "name", "email")


@admin.register(Quote)
class QuoteAdmin(LookOnlyAdmin):
    """Quotes, newest first."""

    list_display = ("code", "customer", "state", "quoted_on", "valid_until", "total")
    list_filter = ("state",)
    list_select_related = ("customer",)
    search_fields = ("code", "customer__name")
    inlines = (QuoteLines, QuoteEvents, QuoteMails)
