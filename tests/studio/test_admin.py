"""The admin site passes by no rule: a superuser looks at every row there and changes none."""

import pytest
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.core import serializers
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.html import escape
from knox.models import AuthToken

from studio.foundation.roles import Role
from studio.models import Membership, WebhookDelivery, WebhookTarget
from studio.web.read_only_admin import LookOnly, LookOnlyAdmin
from tests.furnished import furnish
from tests.kept import once_a_module

#: Of the form that the admin site makes, which nobody may send.
SCHEME = "ignore:The default scheme will be changed"
pytestmark = [pytest.mark.django_db, pytest.mark.filterwarnings(SCHEME)]
REGISTERED = sorted(admin.site._registry, key=lambda model: model._meta.label)


def make():
    """The furnished studio with a row of each model: an address was told of one event."""
    furnish(today=timezone.localdate())
    told = WebhookTarget.objects.create(code="till", url="https://till.example/", secret="s")
    WebhookDelivery.objects.create(
        target=told, event_id="e-1", event="alert.opened", body="{}", next_attempt_at=timezone.now()
    )
    return get_user_model().objects.create_superuser("root")


kept = once_a_module(make)


@pytest.fixture
def root(client, kept):
    account = kept.fresh()
    Membership.objects.create(user=account, role=Role.OWNER)
    client.force_login(account)
    return client


def address(model, verb, *args):
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{verb}", args=args)


def rows_of(model):
    return serializers.serialize("json", model._default_manager.order_by("pk"))


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model._meta.label)
def test_rows_are_shown_and_none_is_added_changed_or_deleted(root, model):
    before = rows_of(model)
    listed = root.get(address(model, "changelist"))
    assert listed.status_code == 200
    assert escape(admin.site._registry[model].told) in listed.content.decode()
    row = model._default_manager.order_by("pk").first()
    assert row is not None
    shown = root.get(address(model, "change", row.pk))
    assert shown.status_code == 200
    assert escape(admin.site._registry[model].told) in shown.content.decode()
    assert b'name="_save"' not in shown.content
    values = {field.name: "1" for field in model._meta.concrete_fields}
    assert root.post(address(model, "add"), values).status_code == 403
    assert root.post(address(model, "change", row.pk), values).status_code == 403
    assert root.post(address(model, "delete", row.pk), {"post": "yes"}).status_code == 403
    picked = {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"}
    root.post(address(model, "changelist"), picked)
    assert rows_of(model) == before


def test_every_registered_class_and_its_inlines_only_look():
    for registered in admin.site._registry.values():
        assert isinstance(registered, LookOnlyAdmin)
        assert not registered.actions
        assert all(issubclass(inline, LookOnly) for inline in registered.inlines)


def test_neither_passwords_nor_tokens_nor_groups_are_set(root):
    assert not {AuthToken, Group} & set(admin.site._registry)
    with pytest.raises(NoReverseMatch):
        reverse("admin:auth_user_password_change", args=[1])
    account = get_user_model().objects.get(username="root")
    for path in (f"/admin/auth/user/{account.pk}/password/", "/admin/knox/authtoken/add/"):
        assert root.post(path, {"password1": "x", "password2": "x"}).status_code in {302, 404}
    again = get_user_model().objects.get(username="root")
    assert again.password == account.password and not AuthToken.objects.exists()


def test_the_last_owner_stays(root):
    account = get_user_model().objects.get(username="root")
    membership = account.membership
    gone, less = {"post": "yes"}, {"user": account.pk, "role": "viewer"}
    for path, body in (
        (address(get_user_model(), "delete", account.pk), gone),
        (address(Membership, "change", membership.pk), less),
        (address(Membership, "delete", membership.pk), gone),
    ):
        assert root.post(path, body).status_code == 403
    assert Membership.objects.get(pk=membership.pk).role == Role.OWNER
