"""Buying: what runs out, alerts, plans, orders and marks to reorder at, as pages show them."""

from datetime import timedelta

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.html import strip_tags

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import BuyPlan, PurchaseOrder
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.buying import plan_job
from inventory.services.buying.order_papers import send_order
from inventory.services.buying.requirements import require
from inventory.services.receiving.against_orders import Arrived, OrderArrival, receive_order
from studio.work import jobs
from studio.work.jobs import Job
from tests.inventory.buying import a_supplier, an_offer, an_oil
from tests.inventory.making import KG, make_lot
from tests.inventory.using import used_weekly
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


def shown(client, address, **query):
    response = client.get(address, query)
    assert response.status_code == 200, address
    return read(response)


def sent(client, address, **values):
    return client.post(address, {"once": f"key-{address}-{len(values)}", **values})


@pytest.fixture
def shop():
    """Coconut oil below its mark and needed in ten days; two suppliers offer it."""
    today = timezone.localdate()
    hill = a_supplier("hill", lead_time_days=5, email="orders@hill.example", freight=150_000)
    lake = a_supplier("lake", lead_time_days=2)
    coconut = an_oil("coconut", name="Coconut oil", reorder_point=5 * KG, reorder_to=20 * KG)
    make_lot(coconut, 4 * KG, 100, received_on=today)
    require({coconut.pk: 9 * KG}, holder="batch:B-1", due_on=today + timedelta(days=10))
    an_offer(hill, coconut, "5 kg", 300_000, code="hill-coconut")
    an_offer(lake, coconut, "1 kg", 90_000, code="lake-coconut")
    return coconut


def test_an_empty_studio_is_led_to_its_materials():
    assert "Nothing is kept yet" in shown(signed_in(), "/buying/")


def test_the_answer_says_until_when_and_what_runs_out_first(shop):
    page = shown(signed_in(), "/buying/")
    last = timezone.localdate() + timedelta(days=9)
    assert f'Enough until <time datetime="{last}"' in page
    assert "First to run out: Coconut oil." in strip_tags(page)
    assert "5 kg" in page and "ch-wide" in page, "missing, and drawn"


def test_what_is_made_here_is_not_bought(shop):
    bar = an_oil("bar", name="Mint bar", kind=MaterialKind.BAR, counted=True)
    require({bar.pk: 5}, holder="order:S-1", due_on=timezone.localdate() + timedelta(days=3))
    assert "Mint bar" not in shown(signed_in(), "/buying/")


def test_enough_is_said_too():
    oil = an_oil("olive", reorder_point=KG)
    make_lot(oil, 9 * KG, received_on=timezone.localdate())
    page = shown(signed_in(), "/buying/")
    # Nothing of it was used: what is used beside plans is not known.
    assert "Enough for all that is planned in the next 60 days" in page
    assert "not known yet for 1 of 1 material: nothing of it was used in the last two years" in page
    used_weekly(oil, [KG // 100], on=timezone.localdate())
    page = shown(signed_in(), "/buying/")
    assert "Enough of everything for the next 60 days" in page and "not known" not in page


def test_an_alert_is_seen_and_put_off(shop):
    raise_alerts(now=timezone.now())
    alert = Alert.objects.get()
    client = signed_in("maker")
    assert "I have seen it" in shown(client, "/buying/")
    answer = sent(client, f"/buying/alerts/{alert.pk}/seen/", back="buying")
    assert (answer.status_code, answer["Location"]) == (303, "/buying/")
    assert f"Seen by {Alert.objects.get().acknowledged_by.username}" in shown(
        client, "/buying/alerts/"
    )
    assert sent(client, f"/buying/alerts/{alert.pk}/put-off/", days="7").status_code == 303
    alert.refresh_from_db()
    assert alert.snoozed_until == timezone.localdate() + timedelta(days=7)
    assert "Nothing to look after" in shown(client, "/buying/alerts/")
    assert "Coconut oil" in shown(client, "/buying/alerts/", state="snoozed")


def test_no_other_number_of_days_puts_off(shop):
    raise_alerts(now=timezone.now())
    alert = Alert.objects.get()
    client = signed_in("maker")
    answer = client.post(
        f"/buying/alerts/{alert.pk}/put-off/", {"days": "-3", "once": "k"}, follow=True
    )
    assert "Choose for how long" in read(answer)
    alert.refresh_from_db()
    assert alert.snoozed_until is None


def test_a_viewer_changes_nothing(shop):
    raise_alerts(now=timezone.now())
    client, number = signed_in("viewer"), Alert.objects.get().pk
    assert "I have seen it" not in shown(client, "/buying/alerts/")
    for address in (f"/buying/alerts/{number}/seen/", "/buying/alerts/look/"):
        assert sent(client, address).status_code == 403
    assert client.get("/buying/plan/").status_code == 403


def test_looking_now_finds_what_is_low(shop):
    client = signed_in("maker")
    answer = client.post("/buying/alerts/look/", {"once": "k"}, follow=True)
    assert "1 new, 0 gone" in read(answer)


def planned(client, **values):
    """The answer of the page that waits for the plan, once a worker has found it."""
    asked = ask(client, **values)
    if asked.status_code != 303:
        return asked
    assert jobs.do_job(the_part().pk, now=timezone.now())
    return client.get(asked["Location"])


def ask(client, **values):
    given = {"days": "30", "rounds": "1", "days_between": "7", "keep_to_space": "on"}
    return client.post("/buying/plan/", {**given, **values})


def the_part():
    return Job.objects.filter(parent__isnull=False).latest("pk")


def test_a_plan_is_waited_for_with_its_progress_and_kept_while_nobody_looks(shop):
    client = signed_in()
    address = ask(client, budget="120.00")["Location"]
    page = shown(client, address)
    assert "It waits for a worker" in page and 'value="0" max="1"' in page
    part = the_part()
    Job.objects.filter(pk=part.pk).update(
        state="running", outcome={"done": 1, "of": 3, "step": "solve"}
    )
    page = shown(client, address)
    assert 'value="1" max="3"' in page and "are compared" in page
    Job.objects.filter(pk=part.pk).update(state="waiting")
    Job.objects.filter(pk=part.parent_id).update(created_at=timezone.now() - timedelta(minutes=5))
    assert "Nobody has taken it yet" in shown(client, address)
    assert jobs.do_job(part.pk, now=timezone.now())
    assert client.get(address)["Location"] == f"/buying/plans/{BuyPlan.objects.get().code}/"
    again = shown(client, f"/buying/plan/?again={part.parent_id}")
    assert 'value="120.00"' in again


def test_steps_are_told_while_a_plan_is_found(shop, monkeypatch):
    told = []
    monkeypatch.setattr(plan_job, "tell", told.append)
    ask(signed_in())
    jobs.do_job(the_part().pk, now=timezone.now())
    assert [each["step"] for each in told] == ["read", "solve", "check"]
    assert [each["done"] for each in told] == [0, 1, 2]


def test_a_worker_that_fails_again_and_again_is_told(shop, monkeypatch):
    client = signed_in()
    address = ask(client)["Location"]

    def fails(*args, **kwargs):
        raise RuntimeError("out of memory")

    monkeypatch.setattr(plan_job, "find_plan", fails)
    for attempt in range(jobs.MOST_ATTEMPTS):
        jobs.do_job(the_part().pk, now=timezone.now() + timedelta(hours=attempt))
    page = shown(client, address)
    assert "It went wrong on the worker" in page and "Change what is asked" in page
    assert not BuyPlan.objects.exists()
    assert client.get("/buying/plans/asked/999999/").status_code == 404


def test_a_plan_tells_what_to_buy_why_and_what_else(shop):
    client = signed_in()
    answer = planned(client)
    assert answer.status_code == 303
    page = shown(client, answer["Location"])
    plan = BuyPlan.objects.get()
    line = plan.found["orders"][0]["lines"][0]
    assert "No cheaper plan exists" in page and "The next best plan" in page
    assert line["reason"].split(".")[0] in page
    assert f"{line['packs']} x {line['pack_written']}" in page
    assert plan.code in shown(client, "/buying/plan/")


def test_a_budget_that_is_too_small_is_told_with_what_stands_in_the_way(shop):
    client = signed_in()
    page = shown(client, planned(client, budget="1")["Location"])
    assert "Not possible" in page and "not met" in page


@pytest.mark.parametrize(
    ("asked", "words"),
    [({"days": "0"}, "greater than or equal to 1"), ({"budget": "a lot"}, "Budget")],
)
def test_what_cannot_be_asked_is_told_and_kept(shop, asked, words):
    answer = planned(signed_in(), **asked)
    page = read(answer)
    assert answer.status_code == 422 and words in page
    assert all(f'value="{value}"' in page for value in asked.values())
    assert not BuyPlan.objects.exists()


def test_plans_are_for_those_who_see_costs(shop):
    planned(signed_in())
    code = BuyPlan.objects.get().code
    assert signed_in("maker").get(f"/buying/plans/{code}/").status_code == 403
    assert signed_in().get("/buying/plans/BP-nothing/").status_code == 404


def test_alert_plan_order_placed_received_and_the_alert_is_gone(shop):
    client = signed_in()
    raise_alerts(now=timezone.now())
    plan = planned(client)["Location"]
    drafts = client.post(f"{plan}order/", {"once": "draft"})
    again = client.post(f"{plan}order/", {"once": "draft-2"})
    assert drafts.status_code == 303 and again.status_code == 422
    assert "made already" in read(again)
    order = PurchaseOrder.objects.get()
    letter = shown(client, f"/buying/orders/{order.code}/place/")
    assert "please send us" in letter
    answer = client.post(
        f"/buying/orders/{order.code}/place/", {"mail": "no", "once": "place"}, follow=True
    )
    assert "is placed" in read(answer)
    receive_order(
        order.code,
        OrderArrival(
            received_on=timezone.localdate(),
            lines=[Arrived(position=1, packs=order.lines.get().packs)],
        ),
    )
    assert "all of it has come" in shown(client, f"/buying/orders/{order.code}/")
    raise_alerts(now=timezone.now())
    assert "Nothing to look after" in shown(client, "/buying/")


def ordered(coconut):
    """A draft with hill, made of a plan that may order from nobody else."""
    planned(signed_in(), blocked=["lake"])
    client = signed_in()
    client.post(f"/buying/plans/{BuyPlan.objects.get().code}/order/", {"once": "d"})
    return PurchaseOrder.objects.get()


def test_the_mail_is_read_before_it_is_sent(shop):
    order, client = ordered(shop), signed_in()
    page = shown(client, f"/buying/orders/{order.code}/place/")
    day = timezone.localdate() + timedelta(days=5)
    assert "orders@hill.example" in page and f"Expected by: {day}" in page
    order.refresh_from_db()
    assert order.state == "draft" and not order.mails.exists(), "reading sends nothing"
    client.post(f"/buying/orders/{order.code}/place/", {"mail": "yes", "once": "p"})
    written = order.mails.get()
    assert " ".join(written.body.split()) in page.replace("&#x27;", "'") and not mail.outbox


def test_an_order_without_an_address_is_placed_but_not_mailed(shop):
    order, client = ordered(shop), signed_in()
    order.supplier.email = ""
    order.supplier.save()
    assert "has no e-mail address" in shown(client, f"/buying/orders/{order.code}/place/")
    refused = client.post(f"/buying/orders/{order.code}/place/", {"mail": "yes", "once": "p"})
    assert refused.status_code == 422
    order.refresh_from_db()
    assert order.state == "draft"


def test_orders_are_listed_by_state_closed_and_cancelled(shop):
    order, client = ordered(shop), signed_in("maker")
    assert order.code in shown(client, "/buying/orders/")
    assert order.code not in shown(client, "/buying/orders/", state="placed")
    assert "No order is like that" in shown(client, "/buying/orders/", q="zzz")
    refused = sent(client, f"/buying/orders/{order.code}/close/")
    assert refused.status_code == 422, "a draft is not closed"
    send_order(order.code, on=timezone.localdate(), mail=False)
    assert "Nothing has come yet" in shown(client, f"/buying/orders/{order.code}/")
    assert sent(client, f"/buying/orders/{order.code}/cancel/").status_code == 303
    assert order.code in shown(client, "/buying/orders/", state="cancelled")
    assert client.get("/buying/orders/P-nothing/").status_code == 404
    assert sent(client, "/buying/orders/P-nothing/cancel/").status_code == 404


def test_money_is_for_those_who_see_costs(shop):
    order = ordered(shop)
    page = shown(signed_in("maker"), f"/buying/orders/{order.code}/")
    assert "$" not in page and "Place the order" not in page
    assert "$" in shown(signed_in(), f"/buying/orders/{order.code}/")
    assert signed_in("maker").get(f"/buying/orders/{order.code}/place/").status_code == 403


def test_marks_are_told_and_aims_are_kept(shop):
    client = signed_in()
    assert "Coconut oil" in shown(client, "/buying/reorder/")
    page = shown(client, "/buying/reorder/coconut/")
    assert "Nothing of it was used in the last two years, so its use is not known." in page
    refused = sent(client, "/buying/reorder/coconut/adopt/", revision=shop.revision)
    assert refused.status_code == 422 and "Nothing can be suggested" in read(refused)
    stale = sent(client, "/buying/reorder/coconut/adopt/", revision=shop.revision + 1, x="1")
    assert "changed" in read(stale) or "saved it" in read(stale)
    address = "/buying/reorder/coconut/aims/"
    wrong = client.post(address, {"revision": 0, "service_level": "20"})
    assert wrong.status_code == 422 and 'value="20"' in read(wrong)
    kept = client.post(address, {"revision": 0, "service_level": "97.5 %"})
    assert kept.status_code == 303
    assert str(PolicySettings.objects.get(material=shop).service_level).startswith("0.975")
    assert "97.5 %" in shown(client, "/buying/reorder/coconut/")
    again = client.post(address, {"revision": 0, "service_level": "90"})
    assert again.status_code == 422, "somebody saved it meanwhile"


def test_suggested_marks_are_taken_with_one_button():
    oil = an_oil("olive", name="Olive oil")
    used_weekly(oil, [7 * KG] * 20, on=timezone.localdate())
    an_offer(a_supplier(lead_time_days=10), oil, "5 kg", 500_000)
    client = signed_in("maker")
    assert "Take the suggested marks" in shown(client, "/buying/reorder/olive/")
    answer = sent(client, "/buying/reorder/olive/adopt/", revision=oil.revision)
    assert answer.status_code == 303
    assert Material.objects.get().reorder_point == 10 * KG
    page = shown(client, "/buying/reorder/olive/")
    assert "That is what is suggested." in page and "10 kg" in page
    assert "Take the suggested marks" not in page and "$" not in page


def test_the_studio_s_aims_are_the_owner_s(shop):
    assert signed_in("maker").get("/buying/aims/").status_code == 403
    client = signed_in()
    assert client.post("/buying/aims/", {"revision": 0, "holding_share": "20"}).status_code == 303
    assert "20 % of its worth" in shown(client, "/buying/reorder/coconut/")


@pytest.mark.parametrize(
    ("address", "most"),
    [
        ("/buying/", 19),
        ("/buying/alerts/", 6),
        ("/buying/orders/", 5),
        ("/buying/reorder/", 12),
    ],
)
def test_queries_do_not_grow_with_the_shelf(shop, address, most):
    order = ordered(shop)
    client = signed_in()
    counted = []
    for more in (20, 400):
        Material.objects.bulk_create(
            Material(code=f"m-{more}-{n}", name=f"M {n}", kind="fat", reorder_point=KG)
            for n in range(more)
        )
        PurchaseOrder.objects.bulk_create(
            PurchaseOrder(
                code=f"P-{more}-{n}",
                supplier=order.supplier,
                ordered_on=order.ordered_on,
                expected_on=order.expected_on,
            )
            for n in range(more)
        )
        raise_alerts(now=timezone.now())
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).status_code == 200
        counted.append(len(seen))
    assert counted[0] == counted[1] <= most
