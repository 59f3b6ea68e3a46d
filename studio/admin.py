"""Accounts and their roles to look at. They are changed on the page of people, where one owner who
can sign in is always left; tokens are made and ended by whoever they are of."""

from django.contrib import admin
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from knox.models import AuthToken

from studio.models import Membership
from studio.web.read_only_admin import look_only

TOLD = "Nothing is changed here. Accounts and roles are changed in Settings, People and roles."

for model in (get_user_model(), Group, AuthToken):
    admin.site.unregister(model)

look_only(
    get_user_model(),
    "username is_active last_login",
    filters="is_active",
    search="username",
    fields=("username", "email", "is_active", "is_superuser", "last_login", "date_joined"),
    told=TOLD,
)
look_only(
    Membership,
    "user role may_see_costs changed_at changed_by",
    filters="role may_see_costs",
    search="user__username",
    told=TOLD,
)
