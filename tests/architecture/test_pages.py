"""Every page can be opened in a studio that has something of everything, with few questions."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.furnished import furnish, hand_in
from tests.page_map import pages
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
#: What a page may ask of the database at most, however much there is; most ask half of it.
MOST = 20
#: Pages that work out costs from rates, standards, packaging, offers, lots and recipes, or that
#: look into every table there is.
MOST_OF = {
    "product-page": 52,
    "prices": 32,
    "what-if-page": 48,
    "batch-cost-page": 27,
    "price-set": 30,
    "material-page": 22,
    "batch-parts-page": 26,
    "search": 21,
    "recipe-cost-page": 27,
    "recipe-costs-page": 22,
    "version-differences": 21,
}


@pytest.fixture
def client():
    furnish(today=timezone.localdate())
    signed_in = Client()
    signed_in.force_login(person("owner"))
    hand_in(signed_in)
    return signed_in


def test_every_page_opens_with_a_fixed_small_number_of_queries(client):
    asked, closed = {}, {}
    for page in pages():
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(page.path)
        asked[page.name] = len(queries)
        if answer.status_code != 200:
            closed[page.name] = (page.path, answer.status_code)
    assert len(asked) > 60
    assert not closed
    over = {name: count for name, count in asked.items() if count > MOST_OF.get(name, MOST)}
    assert not over
    assert not MOST_OF.keys() - asked.keys()
