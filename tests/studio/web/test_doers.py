"""Whatever door leads there, what is kept names who did it: a person, or the schedule."""

from datetime import timedelta
from decimal import Decimal

import pytest
from celery import current_app
from django.contrib.auth import get_user_model
from django.db import transaction
from django.test import Client, RequestFactory
from django.utils import timezone
from rest_framework.test import APIClient

from costing.models.prices.prices import PriceEntry
from costing.models.quotes.quotes import QuoteEvent
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from costing.tasks import expire_quotes
from inventory.models.catalog.materials import Material
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Location, Lot
from inventory.services.catalog.materials import add_material
from inventory.services.stock.reservations import Holding, reserve
from inventory.tasks import expire_reservations
from recipes.models.formulas.formulas import Formula
from studio.foundation.doers import SCHEDULE, acting, doer, the_schedule
from studio.settings import CELERY_BEAT_SCHEDULE
from studio.web.accounts import has_accounts, make_token, people
from studio.work.keeping import keep
from tests.furnished import CUSTOMER, furnish
from tests.kept import once_a_module
from tests.names_doers import NobodyUnnamed, values_of
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
OLIVE = {"material__code": "olive-oil", "on_hand__gt": 0, "state": "released"}
BLEND = {"lines": [{"material": "olive-oil", "basis": "of_batter", "amount": "1"}]}
#: Addresses of the API that write a row of a history: method, address, body.
BY_API = [
    ("post", "lots/{lot}/quarantine/", {"reason": "smells"}),
    ("post", "lots/{lot}/block/", {"reason": "smells"}),
    ("post", "lots/{lot}/certificate/", {"sv_mg_koh_g": "189.5"}),
    ("post", "lots/{lot}/move/", {"location": "long-shelf"}),
    ("post", "lots/{lot}/recall/", {"reason": "rancid"}),
    ("post", "materials/", {"code": "pine-tar", "name": "Pine tar", "kind": "additive"}),
    ("patch", "materials/olive-oil/", {"note": "from the coast"}),
    ("post", "formulas/", {"code": "noon", "name": "Noon", "kind": "soap"}),
    ("patch", "formulas/harbor-plain/", {"note": "for the fair"}),
    ("patch", "price-entries/{price}/", {"ended_on": "2199-01-01"}),
]
#: Pages that do: address, what is sent.
BY_PAGE = [
    ("/shelf/lots/{lot}/quarantine/", {"reason": "smells"}),
    ("/shelf/lots/{lot}/block/", {"reason": "smells"}),
    ("/shelf/lots/{lot}/certificate/", {"note": "as the letter says"}),
    ("/shelf/lots/{lot}/move/", {"location": "long-shelf"}),
    ("/recipes/harbor-plain/settings/", {"name": "Harbor", "active": "on", "revision": "{recipe}"}),
]


def make():
    furnish(today=timezone.localdate())


kept = once_a_module(make)


@pytest.fixture
def account():
    return person("owner")


def filled(text):
    """A body or an address with what the furnished studio has of each."""
    found = {
        "lot": Lot.objects.filter(**OLIVE).order_by("pk").first().code,
        "price": PriceEntry.objects.order_by("pk").first().pk,
        "recipe": Formula.objects.get(code="harbor-plain").revision,
    }
    if isinstance(text, dict):
        return {name: filled(each) for name, each in text.items()}
    return text.format(**found)


def newest():
    """The last row of each history."""
    models = (Lot, Material, Formula, PriceEntry)
    return {model: model.history.order_by("-history_id").first() for model in models}


def written(before):
    """The rows of histories that are new since `before`."""
    return [row for model, row in newest().items() if row != before[model]]


@pytest.mark.parametrize(("method", "path", "body"), BY_API, ids=lambda part: str(part)[:40])
def test_a_token_names_its_account(kept, account, method, path, body):
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {make_token(account)}")
    headers = {"Idempotency-Key": "k"} if method == "post" else {"If-Match": "*"}
    before = newest()
    answer = getattr(client, method)(
        f"/api/v1/{filled(path)}", filled(body), format="json", headers=headers
    )
    assert answer.status_code < 300, answer.content
    rows = written(before)
    assert rows and {row.history_user for row in rows} == {account}


@pytest.mark.parametrize(("path", "body"), BY_PAGE, ids=lambda part: str(part)[:40])
def test_a_session_names_its_account(kept, account, path, body):
    client = Client()
    client.force_login(account)
    before = newest()
    page = client.get(filled(path)).content.decode()
    once = page.partition('name="once" value="')[2].partition('"')[0]
    answer = client.post(filled(path), {**filled(body), "once": once})
    assert answer.status_code == 303, answer.content
    rows = written(before)
    assert rows and {row.history_user for row in rows} == {account}


def test_a_row_that_nobody_is_named_on_is_found_by_the_guard_of_the_tests(kept, account):
    request = RequestFactory().get("/")
    request.user = account
    made = iter(range(2))
    guard = NobodyUnnamed(lambda _: Location.objects.create(code=f"x-{next(made)}", name="X"))
    with pytest.raises(AssertionError, match="does not name who did it"), transaction.atomic():
        guard(request)
    with acting(lambda: account):
        assert guard(request).changed_by == account


def test_the_guard_reads_rows_one_by_one_and_in_lists():
    names = ["a", "by_id"]
    assert list(values_of(names, "by_id", (1, 2))) == [2]
    assert list(values_of(names, "by_id", (1, 2, 3, None))) == [2, None]
    assert list(values_of(names, "by_id", ([1, 3], [2, None]))) == [2, None]
    for unread in ((), (1, 2, 3)):
        with pytest.raises(AssertionError, match="do not fill"):
            list(values_of(names, "by_id", unread))


def test_what_expires_by_itself_names_the_schedule(kept):
    today = timezone.localdate()
    oil = Material.objects.get(code="olive-oil")
    reserve(Holding(needs={oil.pk: 10**9}, holder="batch:X", on=today, expires_on=today))
    draft = draft_quote(
        QuoteDescription(
            customer=CUSTOMER, lines=[LineDescription(product="harbor-plain", quantity=120)]
        ),
        on=today,
    )
    send_quote(draft.code, on=today)
    later = (timezone.now() + timedelta(days=400)).isoformat()
    for task in (expire_reservations, expire_quotes):
        task.apply(kwargs={"at": later}, throw=True)
    released = StockEntry.objects.filter(reference="batch:X", verb="release").get()
    assert released.by == the_schedule() and released.by.username == SCHEDULE
    assert QuoteEvent.objects.filter(quote=draft, state="expired").get().by == the_schedule()


def test_every_scheduled_task_acts_as_the_schedule():
    names = {entry["task"] for entry in CELERY_BEAT_SCHEDULE.values()}
    current_app.loader.import_default_modules()
    assert names and names <= set(current_app.tasks)
    for name in names:
        task = current_app.tasks[name]
        seen = []
        probe = type(task).__call__
        bound = task.run
        task.run = lambda *_, seen=seen: seen.append(doer())
        try:
            probe(task)
        finally:
            task.run = bound
        assert seen == [the_schedule()]


def test_a_row_of_a_history_written_by_the_schedule_says_so():
    with acting(the_schedule, because="once a night"):
        made = add_material(code="clay-9", name="Clay", kind="colorant")
    row = made.history.get()
    assert (row.history_user.username, row.history_change_reason) == (SCHEDULE, "once a night")
    assert made.changed_by == the_schedule()


def test_the_schedule_is_nobody_who_works_here():
    there = has_accounts()
    schedule = the_schedule()
    assert has_accounts() == there
    assert SCHEDULE not in [each.name for each in people()]
    assert not schedule.is_active and not schedule.has_usable_password()
    with pytest.raises(Exception, match="valid username"):
        get_user_model()(username=SCHEDULE).clean_fields(exclude=["password"])


def test_a_person_named_goes_before_who_acts():
    acts, named = person("owner"), person("maker")
    with acting(lambda: acts):
        made = add_material(
            code="clay-8", name="Clay", kind="colorant", density_g_ml=Decimal(2), by=named
        )
    assert made.history.get().history_user == named
    assert doer() is None


def test_a_person_named_saved_it_last_whoever_acts():
    acts, named = person("owner"), person("maker")
    with acting(lambda: acts):
        made = add_material(code="clay-7", name="Clay", kind="colorant", by=named)
    assert Material.objects.get(pk=made.pk).changed_by == named
    place = Location.objects.create(code="shelf-7", name="Shelf")
    for by, kept_by in ((named, named), (None, acts)):
        row = Location.objects.get(pk=place.pk)
        with acting(lambda: acts):
            keep(row, ["name"], by=by)
        assert Location.objects.get(pk=place.pk).changed_by == kept_by


def test_where_nobody_acts_whoever_saved_it_before_does_not_stand_there():
    acts = person("owner")
    with acting(lambda: acts):
        place = Location.objects.create(code="shelf-6", name="Shelf")
    assert place.changed_by == acts
    row = Location.objects.get(pk=place.pk)
    row.name = "Rack"
    row.save()
    assert row.changed_by is None and Location.objects.get(pk=place.pk).changed_by is None
