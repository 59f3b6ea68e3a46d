"""Lists: every row once and in order, however the pages are cut; one query a page."""

import pytest
from django.contrib.auth import get_user_model
from django.test import RequestFactory
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from studio.foundation.errors import InvalidInput
from studio.web.pages.lists import list_page

pytestmark = pytest.mark.django_db
ORDER = ("-last_name", "first_name", "id")


def people(names):
    model = get_user_model()
    model.objects.all().delete()
    model.objects.bulk_create(
        model(username=f"p{index}", last_name=last, first_name=first)
        for index, (last, first) in enumerate(names)
    )
    return model.objects.all()


def page(rows, query="", size=3):
    return list_page(RequestFactory().get(f"/people/{query}"), rows, order=ORDER, size=size)


def walk(rows, query="", way="later", size=3):
    """All pages from one end to the other."""
    pages = [page(rows, query, size)]
    while address := getattr(pages[-1], way):
        pages.append(page(rows, address, size))
    return pages


@given(
    names=st.lists(st.tuples(st.sampled_from("ab'\u00e9"), st.sampled_from("xy")), max_size=12),
    size=st.integers(1, 5),
)
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_pages_give_every_row_once_both_ways(names, size):
    rows = people(names)
    wanted = list(rows.order_by(*ORDER))
    forth = walk(rows, size=size)
    assert [row for each in forth for row in each.rows] == wanted
    if len(forth) > 1:
        back = walk(rows, forth[-1].earlier, "earlier", size)
        assert [row for each in reversed(back) for row in each.rows] == wanted[
            : -len(forth[-1].rows)
        ]
        assert not back[-1].earlier


def test_a_row_that_comes_between_moves_no_page():
    rows = people([("b", "x")] * 6)
    first = page(rows)
    get_user_model().objects.create(username="late", last_name="c")  # sorts before all
    assert page(rows, first.later).rows == list(rows.order_by(*ORDER))[4:7]


def test_the_filter_stays_in_the_addresses_of_pages():
    found = page(people([("b", "x")] * 6), "?q=soap+%26+oil&after=")
    assert "q=soap+%26+oil" in found.later and found.filtered


def test_one_query_a_page(django_assert_num_queries):
    rows = people([("b", "x")] * 200)
    with django_assert_num_queries(1):
        page(rows, size=50)


@pytest.mark.parametrize(
    "marker", ["x", "bm8", "WzFd", "W251bGwsMSwyXQ", "\u00e9", "%00", "W1tdLDEsMV0"]
)
def test_a_place_that_cannot_be_read_is_refused(marker):
    with pytest.raises(InvalidInput):
        page(people([("b", "x")]), f"?after={marker}")
