"""The admin site shows recipes, and keeps molds only as the service would."""

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse

from recipes.models.molds.molds import Mold
from tests.recipes.making import make_bench, planned

pytestmark = pytest.mark.django_db
MM = 10**6


@pytest.fixture
def admin(client):
    user = get_user_model().objects.create_superuser("boss", password="soda ash 12")
    client.force_login(user)
    return client


@pytest.mark.parametrize("name", ["mold", "formula", "formulaversion", "batch"])
def test_every_list_and_row_opens(admin, name):
    bench = make_bench()
    batch = planned(bench)
    rows = {
        "mold": bench.mold,
        "formula": bench.formula,
        "formulaversion": bench.version,
        "batch": batch,
    }
    assert admin.get(reverse(f"admin:recipes_{name}_changelist")).status_code == 200
    change = reverse(f"admin:recipes_{name}_change", args=[rows[name].pk])
    assert admin.get(change).status_code == 200
    if name != "mold":
        assert admin.post(change, {"code": "x"}).status_code == 403
    delete = reverse(f"admin:recipes_{name}_delete", args=[rows[name].pk])
    assert admin.post(delete, {"post": "yes"}).status_code == 403


def test_a_mold_that_cannot_be_is_not_kept(admin):
    body = {
        "code": "m", "name": "M", "shape": "rectangular", "length": 200 * MM, "width": 70 * MM,
        "depth": 60 * MM, "divider": 0, "cavities": 1, "overfill_share": 0, "trim": 100 * MM,
        "rows": 8, "columns": 1, "layers": 1, "active": "on",
    }  # fmt: skip
    add = reverse("admin:recipes_mold_add")
    refused = admin.post(add, body)
    assert refused.status_code == 200 and b"leave no bar" in refused.content
    assert not Mold.objects.exists()
    assert admin.post(add, {**body, "trim": 0}).status_code == 302
    mold = Mold.objects.get()
    change = reverse("admin:recipes_mold_change", args=[mold.pk])
    assert admin.post(change, {**body, "trim": 5 * MM}).status_code == 302
    mold.refresh_from_db()
    assert (mold.trim, mold.revision) == (5 * MM, 2)
