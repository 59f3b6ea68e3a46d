"""The batch sheet as a page: for those who may read, whole, and without a script."""

from html import unescape

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse

from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.sheets import sheet_of
from studio.foundation.roles import Role
from studio.models import Membership
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch():
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


@pytest.fixture
def viewer(client):
    user = get_user_model().objects.create_user("vera")
    Membership.objects.create(user=user, role=Role.VIEWER)
    client.force_login(user)
    return client


def address(code):
    return reverse("batch-sheet-page", args=[code])


def test_it_shows_cautions_first_then_lots_and_weights(viewer, batch):
    page = unescape(read(viewer.get(address(batch.code))))
    sheet = sheet_of(batch.code)
    for words in (*(caution.text for caution in sheet.cautions), *sheet.steps):
        assert words in page
    for line in sheet.lines:
        assert line.row.material.name in page
        assert all(lot.lot in page for lot in line.lots)
    assert page.index("Lye burns") < page.index("Fats")
    assert "<script>" not in page
    assert f"/api/v1/batches/{batch.code}/sheet.pdf?paper=letter" in page


def test_what_was_weighed_stands_in_it_and_danger_is_named(viewer, batch):
    [naoh] = [line.row for line in sheet_of(batch.code).lines if line.row.part == "naoh"]
    weigh_line(batch.code, Reading(position=naoh.position, amount=naoh.planned * 2))
    page = read(viewer.get(address(batch.code)))
    assert "Differences" in page and "outside" in page and "Lye-heavy" in page


def test_names_are_text_and_never_markup(viewer, batch):
    material = sheet_of(batch.code).lines[0].row.material
    type(material).objects.filter(pk=material.pk).update(name="<script>alert(1)</script>")
    page = read(viewer.get(address(batch.code)))
    assert "<script>" not in page and "&lt;script&gt;" in page


def test_only_those_who_may_read_see_it(client, batch):
    answer = client.get(address(batch.code))
    assert answer.status_code == 302 and answer["Location"].startswith("/sign-in/")
    client.force_login(get_user_model().objects.create_user("nobody"))
    assert client.get(address(batch.code)).status_code == 403


def test_there_is_no_page_for_a_batch_that_is_not_there(viewer):
    assert viewer.get(address("B-9")).status_code == 404
