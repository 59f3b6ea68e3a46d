"""The admin shows the inventory and changes none of it, whoever signs in."""

import pytest
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.urls import reverse

from inventory.models.stock.lots import Lot
from tests.inventory.making import KG, make_lot, make_material

LOOKED_AT = sorted(
    (model for model in admin.site._registry if model._meta.app_label == "inventory"),
    key=lambda model: model.__name__,
)


@pytest.fixture
def root(client, db):
    client.force_login(get_user_model().objects.create_superuser("root"))
    make_lot(make_material("olive-oil"), 3 * KG)
    return client


@pytest.mark.parametrize("model", LOOKED_AT)
def test_lists_are_shown_and_nothing_is_added(root, model):
    name = f"admin:inventory_{model._meta.model_name}"
    assert root.get(reverse(f"{name}_changelist")).status_code == 200
    assert root.post(reverse(f"{name}_add"), {}).status_code == 403


def test_the_ledger_and_its_lots_are_not_changed(root):
    lot = Lot.objects.get()
    for row in (lot, lot.entries.get()):
        name = f"admin:inventory_{row._meta.model_name}"
        for verb in ("change", "delete"):
            answer = root.post(reverse(f"{name}_{verb}", args=[row.pk]), {"on_hand": 1})
            assert answer.status_code == 403
    lot.refresh_from_db()
    assert lot.on_hand == 3 * KG
