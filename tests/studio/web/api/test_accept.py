"""The address of a file names its form: no `Accept` makes another of it, and none a failure."""

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from rest_framework.renderers import JSONRenderer

from inventory.models.buying.orders import PurchaseOrder
from inventory.models.counting.counts import CountSession
from inventory.models.stock.lots import Lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from recipes.models.bench.batches import Batch
from studio.models import ImportRun
from tests.furnished import furnish, hand_in
from tests.studio.web.api.people import client_of, person
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
ACCEPTS = (
    "application/json",
    "application/pdf",
    "application/problem+json",
    "image/svg+xml;q=0.1, text/html",
    "text/csv",
    "*/*;q=0",
    "not a media type; q=;;",
    "ä/ö",
    "",
)


def a_recall():
    code = recall_lot(Lot.objects.order_by("pk")[0].code, "A test.").code
    return lift_recall(code, "A test.").code


#: What the addresses of files are filled with, by how they begin; no code: the query is wrong.
FILES = {
    "exports/": lambda: "materials",
    "templates/": lambda: "materials",
    "imports/": lambda: ImportRun.objects.get().pk,
    "recalls/": a_recall,
    "count-sessions/": lambda: CountSession.objects.get().code,
    "purchase-orders/": lambda: PurchaseOrder.objects.order_by("pk")[0].code,
    "batches/": lambda: Batch.objects.filter(cut_on__isnull=False).order_by("pk")[0].code,
    "lots/": lambda: Lot.objects.order_by("pk")[0].code,
    "molds/": lambda: "long-loaf",
    "quotes/": lambda: "Q-00002",
    "sales-orders/": lambda: "SO-00001",
    "profit.": lambda: "",
}
MISSING = {"imports/": "999999", "profit.": ""}


def routed(patterns, above=""):
    for pattern in patterns:
        address = above + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routed(pattern.url_patterns, address)
        elif isinstance(pattern, URLPattern):
            yield address, getattr(pattern.callback, "cls", None)


def files():
    """Each address below /api/v1/ that answers no JSON, with what it answers."""
    for address, view in routed(get_resolver().url_patterns):
        first = view().get_renderers()[0] if view is not None else JSONRenderer()
        if address.startswith("api/v1/") and not isinstance(first, JSONRenderer):
            yield address.removeprefix("api/v1/"), first.media_type


def filled(address, what):
    before, _, after = address.partition("<")
    return f"/api/v1/{before}{what}{after.partition('>')[2]}"


@pytest.fixture
def owner():
    furnish(today=timezone.localdate())
    user, browser = person("owner"), Client()
    browser.force_login(user)
    hand_in(browser)
    return client_of(user)


def test_every_file_is_answered_as_what_its_address_says(owner):
    codes = {start: code() for start, code in FILES.items()}
    found = list(files())
    assert {start for a, _ in found for start in FILES if a.startswith(start)} == set(FILES)
    assert len(found) >= 22
    for address, media_type in found:
        (start,) = [start for start in FILES if address.startswith(start)]
        path = filled(address, codes[start])
        for accept in ACCEPTS[:3]:
            answer = owner.get(path, headers={"Accept": accept})
            assert answer.status_code == 200, (path, accept, answer.content[:900])
            assert answer["Content-Type"].partition(";")[0] == media_type, (path, accept)


def test_what_is_refused_of_a_file_is_a_problem_document_whatever_is_accepted(owner):
    stranger = Client()
    for address, media_type in files():
        (start,) = [start for start in FILES if address.startswith(start)]
        path = filled(address, MISSING.get(start, "missing"))
        for accept in (*ACCEPTS, media_type):
            asked = {"headers": {"Accept": accept}}
            refused = owner.get(f"{path}?color=red", **asked)
            problem_in(refused, 400, "unknown-query")
            problem_in(stranger.get(path, **asked), 401, "not-signed-in")
            problem_in(owner.post(path, **asked), 405, "method-not-allowed")
            if start != "profit.":
                assert owner.get(path, **asked).status_code == 404, (path, accept)
                problem_in(owner.get(path, **asked), 404, "not-found")


@pytest.mark.parametrize("accept", ACCEPTS)
def test_other_addresses_answer_json_or_that_they_cannot(accept):
    client = client_of(person("owner"))
    for path in ("materials/", "materials/missing/", "jobs/", "me/", "nowhere/"):
        answer = client.get(f"/api/v1/{path}", headers={"Accept": accept})
        assert answer.status_code in (200, 404, 406), (path, answer.status_code)
        if answer.status_code != 200:
            problem_in(answer, answer.status_code, answer.json()["code"])
