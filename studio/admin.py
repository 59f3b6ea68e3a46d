"""Accounts and their roles to look at. They are changed on the page of people, where one owner who
can sign in is always left; tokens are made and ended by whoever they are of."""

from django.contrib import admin
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from knox.models import AuthToken

from studio.models import Membership
from studio.web.read_only_admin import LookOnlyAdmin

TOLD = "Nothing is changed here. Accounts and roles are changed in Settings, People and roles."

for model in (get_user_model(), Group, AuthToken):
    admin.site.unregister(model)


@admin.register(get_user_model())
class AccountAdmin(LookOnlyAdmin):
    """Who has an account."""

    told = TOLD
    list_display = ("username", "is_active", "last_login")
    list_filter = ("is_active",)
    search_fields = ("username",)
    fields = ("username", "email", "is_active", "is_superuser", "last_login", "date_joined")


@admin.register(Membership)
class MembershipAdmin(LookOnlyAdmin):
    """Who is owner, maker or viewer, and who may see costs."""

    told = TOLD
    list_display = ("user", "role", "may_see_costs", "changed_at", "changed_by")
    list_filter = ("role", "may_see_costs")
    search_fields = ("user__username",)
    list_select_related = ("user", "changed_by")
