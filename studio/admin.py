"""Accounts and their roles, for owners."""

from django.contrib import admin

from studio.models import Membership


@admin.register(Membership)
class MembershipAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Who is owner, maker or viewer, and who may see costs."""

    list_display = ("user", "role", "may_see_costs")
    list_filter = ("role", "may_see_costs")
    search_fields = ("user__username",)
    list_select_related = ("user",)
