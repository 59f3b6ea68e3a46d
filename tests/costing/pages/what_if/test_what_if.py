"""What if by hand: the question in the address, the effect, what is refused."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.rates.rates import Rate
from costing.pages.what_if import what_if as pages_what_if
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.what_if.answer import changed_prices, merged, plain_answer
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Question, what_if
from costing.services.what_if.job import ask_what_if
from inventory.models.catalog.suppliers import Offer
from inventory.services.alerts.alerts import ALERTS_JOB
from inventory.services.buying.plan_job import BUY_PLAN_JOB
from studio.work import jobs
from studio.work.jobs import Job
from tests.costing.priced import a_shelf, dearer, floor_of, priced
from tests.inventory.api.calls import Caller
from tests.inventory.making import TODAY
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
ADDRESS = "/prices/what-if/"
MOST_QUERIES = 36


def asked(query="", user=None):
    client = Client()
    client.force_login(user or person("owner"))
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(ADDRESS + query)
    assert len(queries) <= MOST_QUERIES
    return answer


def cents(amount):
    return f"${amount / 10_000:.2f}"


def test_it_tells_what_the_bar_costs_once_the_offer_really_is_dearer():
    product, tier, offers = a_shelf()
    priced(product, tier, floor_of(product, tier))
    page = read(asked("?c0-of=material:olive&c0-to=%2B40"))
    before = product_costs([product.pk], on=timezone.localdate())[product.pk].replacement
    dearer(offers["olive"], "1.4")
    after = product_costs([product.pk], on=timezone.localdate())[product.pk].replacement
    assert f"+{cents(after - before)}" in page and cents(after) in page
    assert "Olive +40 %: a bar costs" in page and "falls under its" in page
    assert cents(floor_of(product, tier)) in page
    assert Offer.objects.get(code="olive-pack").price == offers["olive"].price * 14 // 10


def test_without_a_rate_it_tells_how_far_a_bar_moves_and_the_least_that_it_costs():
    a_shelf()
    known = read(asked("?c0-of=material:olive&c0-to=%2B40"))
    [moves] = re.findall(r"<strong>(\+\$[0-9.]+)</strong>", known)
    Rate.objects.filter(kind="overhead_batch").delete()
    page = read(asked("?c0-of=material:olive&c0-to=%2B40"))
    assert f"<strong>{moves}</strong>" in page and "at least" in page
    assert "overhead batch" in page


def test_where_nothing_is_known_it_does_not_say_that_no_bar_moves():
    product, tier, _ = a_shelf()
    priced(product, tier, floor_of(product, tier))
    Offer.objects.filter(code="box-pack").update(active=False)
    page = read(asked("?c0-of=material:olive&c0-to=%2B40"))
    assert "no bar moves" not in page
    assert "<strong>by how much is not known</strong> for 1 of 1." in page
    answer = what_if(question_about_olive())
    assert plain_answer(answer, [])["unknown"] == 1
    plain = plain_answer(answer, [])
    assert merged([plain, plain])["unknown"] == 2
    del plain["unknown"]  # answered by an earlier version
    assert merged([plain])["unknown"] == 0


def test_a_price_below_the_least_that_its_floor_can_be_falls_though_the_floor_is_not_known():
    product, tier, _ = a_shelf()
    entry = priced(product, tier, floor_of(product, tier))
    Rate.objects.filter(kind="overhead_batch").delete()
    [then] = changed_prices(what_if(question_about_olive()))
    assert (then.floor, then.changed_floor, then.restoring) == (None, None, None)
    assert then.floor_at_least == entry.price < then.changed_floor_at_least
    assert not then.was_under and then.is_under
    page = read(asked("?c0-of=material:olive&c0-to=%2B40"))
    assert "Prices under their floor" in page
    assert f"at least {cents(then.changed_floor_at_least)}" in page


def test_two_changes_are_told_one_by_one_and_the_address_keeps_them():
    a_shelf()
    Rate.objects.create(kind="labor_hour", amount=200_000, effective_from=TODAY)
    query = "?c0-of=superfat&c0-to=9&c3-of=rate:labor_hour&c3-to=-20+%25"
    page = read(asked(query))
    assert "Superfat of every recipe: 9 %, An hour of labor -20 %" in page
    assert re.search(r'name="c3-to" value="-20 %"', page)
    assert len(re.findall(r'<fieldset class="change">', page)) == 5


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("?c0-of=superfat&c0-to=80", "from 0 to 30 %"),
        ("?c0-of=material:olive&c0-to=much", "Write a share in percent"),
        ("?c0-of=material:olive&c0-to=", "Say by how much"),
        ("?c0-of=material:gold&c0-to=3", "valid choice"),
        ("?c0-of=material:olive&c0-to=-200", "from -100 to 1000"),
    ],
)
def test_what_cannot_be_asked_is_refused_beside_its_field(query, told):
    a_shelf()
    page = read(asked(query))
    assert told in page and "A bar of each recipe" not in page


def test_without_products_it_says_what_is_missing():
    assert "Nothing is sold yet" in read(asked("?c0-of=superfat&c0-to=5"))
    assert "Choose what changes" in read(asked())


def test_it_is_for_those_who_see_costs():
    assert asked(user=person("maker")).status_code == 403
    assert asked(user=person("maker", see_costs=True)).status_code == 200


def test_many_recipes_are_costed_by_workers_in_parts(monkeypatch):
    product, tier, _ = a_shelf()
    priced(product, tier, floor_of(product, tier))
    monkeypatch.setattr(pages_what_if, "AT_ONCE", 0)
    query = "c0-of=material:olive&c0-to=40"
    client = Client()
    client.force_login(person("owner"))
    page = read(client.get(f"{ADDRESS}?{query}"))
    assert "1 recipes are costed anew" in page and "A bar of each recipe" not in page
    answer = client.post(f"{ADDRESS}ask/", {"query": query})
    assert answer.status_code == 303
    waiting = read(client.get(answer["Location"]))
    assert "<strong>0 of 1 parts</strong> of 1 recipes" in waiting and "every 1s" in waiting
    assert jobs.do_job(Job.objects.get(parent__isnull=False).pk, now=timezone.now())
    found = read(client.get(answer["Location"]))
    monkeypatch.undo()
    at_once = read(client.get(f"{ADDRESS}?{query}"))
    told = re.compile(r"<tbody>.*?</tbody>", re.S)
    assert told.findall(found) == told.findall(at_once) and "every 1s" not in found


def test_what_comes_of_a_job_is_for_those_who_see_costs():
    """Workers leave the costs of every recipe in it; a job of a kind unknown here may hold any."""
    a_shelf()
    olive, now = [Named(material="olive", by=Decimal("0.4"))], timezone.now()
    asked_for = ask_what_if(olive, words=["Olive"], recipes=["plain"], on=TODAY, by=None, now=now)
    jobs.do_job(asked_for.parts.get().pk, now=now)
    other = {"state": "done", "outcome": {"bar": "1.2345"}, "lease_until": now, "finished_at": now}
    plan = Job.objects.create(name=BUY_PLAN_JOB, **other)
    unknown = Job.objects.create(name="of-a-later-version", **other)
    shown = Job.objects.create(name=ALERTS_JOB, **other)
    for job in (asked_for, plan, unknown, shown):
        address = f"jobs/{job.pk}/"
        assert Caller("viewer", see_costs=True).seen(address)["outcome"]
        for role in ("viewer", "maker"):
            told = Caller(role).seen(address)
            assert (told["state"], "outcome" in told) == ("done", job is shown)
    closed = Caller("viewer").rows("jobs/")
    assert [row["name"] for row in closed if "outcome" in row] == [ALERTS_JOB]


def test_parts_make_the_answer_that_one_question_gives():
    a_shelf()
    answer = plain_answer(one := what_if(question_about_olive()), changed_prices(one))
    assert merged([answer]) == answer
    twice = merged([answer, answer])
    assert (twice["asked"], twice["moved"]) == (2 * answer["asked"], 2 * answer["moved"])
    assert (twice["least"], twice["most"]) == (answer["least"], answer["most"])


def test_an_answer_that_is_not_complete_says_so():
    a_shelf()
    client = Client()
    user = person("owner")
    client.force_login(user)
    olive = [Named(material="olive", by=Decimal("0.4"))]
    job = ask_what_if(
        olive, words=["Olive"], recipes=["plain"], on=TODAY, by=user, now=timezone.now()
    )
    (part,) = job.parts.all()
    for name in ("refused", "lost"):
        Job.objects.create(
            name=part.name, arguments=part.arguments, parent=job, lease_until=timezone.now(),
            state="failed" if name == "lost" else "done", finished_at=timezone.now(),
            outcome={} if name == "lost" else {"refused": "No rate was there."},
        )  # fmt: skip
    jobs.do_job(part.pk, now=timezone.now())
    page = read(client.get(f"{ADDRESS}{job.pk}/"))
    assert "A bar of each recipe" in page and "No rate was there." in page
    assert "not complete" in page and "1 of its parts could not be done" in page


def question_about_olive():
    return Question(changes=[Named(material="olive", by=Decimal("0.4"))], on=timezone.localdate())


def test_an_address_that_says_nothing_asks_nothing():
    a_shelf()
    client = Client()
    client.force_login(person("owner"))
    for query in ("", "c0-of=superfat&c0-to=80"):
        assert client.post(f"{ADDRESS}ask/", {"query": query}).status_code == 303
    assert not Job.objects.exists()
    assert client.get(f"{ADDRESS}999999/").status_code == 404
