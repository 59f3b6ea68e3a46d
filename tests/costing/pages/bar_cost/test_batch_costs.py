"""What a batch cost, on its page: by its state, in words, drawn, and against its plan."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from costing.queries.bar_cost.batches import cost_of_batch
from studio.templatetags.studio_pages import exact_money, money
from tests.costing.making import cured, cut, make_rates, poured
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def a_bench():
    bench = make_bench()
    stock(bench)
    return bench


def page_of(code, role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client.get(f"/batches/{code}/cost/")


def text_of(code):
    answer = page_of(code)
    assert answer.status_code == 200
    return read(answer)


def test_a_planned_batch_has_no_cost_yet_and_leads_to_its_recipe():
    batch = planned(make_bench())
    text = text_of(batch.code)
    assert "Nothing was used for it yet." in text
    assert f"/recipes/{batch.version.formula.code}/cost/" in text


def test_until_the_bars_are_released_the_cost_is_only_expected():
    make_rates()
    text = text_of(poured(a_bench()))
    assert "A bar will cost about" in text
    assert "planned bars" in text
    assert "not yet in the books" in text


def test_a_cured_batch_tells_the_cost_of_its_books_by_bar_and_by_gram():
    make_rates()
    code = cured(a_bench(), good=7, rejected=1)
    cost = cost_of_batch(code)
    assert cost.bar is not None
    assert cost.per_gram is not None
    text = text_of(code)
    assert f"A bar cost <strong>{money(cost.bar.per_bar)}</strong>" in text
    assert "for 7 good bars" in text
    assert exact_money(round(cost.per_gram)) in text
    assert "not yet in the books" not in text
    assert f"Cost of a bar of {code}" in text


def test_fewer_good_bars_are_a_variance_of_yield():
    make_rates()
    text = text_of(cured(a_bench(), good=7, rejected=1))
    assert "Yield: 7 good bars of 8" in text
    assert "What the batch cost more than its plan" in text


def test_a_batch_without_a_good_bar_is_a_loss_and_no_bar_is_priced():
    make_rates()
    code = cut(a_bench(), good=0, rejected=8)
    assert cost_of_batch(code).per_gram is None
    text = text_of(code)
    assert "No bar was good" in text
    assert "A gram, once cured" not in text


def test_it_takes_a_bounded_number_of_queries():
    make_rates()
    code = cured(a_bench())
    client = Client()
    client.force_login(person("owner"))
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(f"/batches/{code}/cost/").status_code == 200
    assert len(seen) <= 27


def test_no_batch_of_that_code_is_not_found():
    assert page_of("B-NONE").status_code == 404


def test_it_is_for_those_who_see_costs():
    code = planned(make_bench()).code
    assert page_of(code, "maker").status_code == 403
    assert page_of(code, "maker", see_costs=True).status_code == 200
