"""The first owner's page, people, tokens, preferences and the password, by their forms."""

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from studio.foundation.roles import Role, role_of
from studio.models import Preference
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
PASSWORD = "goggles-and-gloves-9"


@pytest.fixture
def as_owner():
    client = Client()
    client.force_login(person("owner"))
    return client


def text(answer):
    return read(answer)


def test_the_first_start_makes_an_owner_and_goes_on():
    client = Client()
    assert client.get("/")["Location"] == "/start/owner/"
    assert client.get("/start/owner/").status_code == 200
    given = {"name": "ida", "password": PASSWORD, "again": PASSWORD}
    wrong = client.post("/start/owner/", {**given, "again": "other"})
    assert wrong.status_code == 422 and 'value="ida"' in text(wrong)
    weak = client.post("/start/owner/", {**given, "password": "12345678", "again": "12345678"})
    assert weak.status_code == 422 and "too common" in text(weak)
    assert client.post("/start/owner/", given)["Location"] == "/start/"
    assert "Start here" in text(client.get("/start/"))
    assert role_of(get_user_model().objects.get()) is Role.OWNER


def test_it_works_only_while_there_is_no_account():
    person("viewer")
    client = Client()
    given = {"name": "eve", "password": PASSWORD, "again": PASSWORD}
    assert client.get("/start/owner/")["Location"] == "/"
    assert client.post("/start/owner/", given)["Location"] == "/"
    assert get_user_model().objects.count() == 1


def test_somebody_is_added_and_signs_in(as_owner):
    given = {"name": "mo", "password": PASSWORD, "again": PASSWORD, "role": "maker"}
    assert as_owner.post("/settings/people/add/", given).status_code == 303
    assert "mo" in text(as_owner.get("/settings/people/"))
    assert Client().login(username="mo", password=PASSWORD)
    again = as_owner.post("/settings/people/add/", given)
    assert again.status_code == 422 and "already exists" in text(again)


def test_a_role_changes_and_the_last_owner_is_told(as_owner):
    maker = person("maker")
    address = f"/settings/people/{maker.pk}/"
    assert as_owner.post(address, {"role": "viewer", "active": "on"}).status_code == 303
    assert role_of(get_user_model().objects.get(pk=maker.pk)) is Role.VIEWER
    me = get_user_model().objects.get(membership__role="owner")
    assert f"by {me.username}" in text(as_owner.get(address))
    told = as_owner.post(f"/settings/people/{me.pk}/", {"role": "maker", "active": "on"})
    assert told.status_code == 422 and "somebody else owner first" in text(told)


@pytest.mark.parametrize("address", ["/settings/people/", "/settings/people/add/"])
def test_only_owners_see_people(address):
    client = Client()
    client.force_login(person("maker", see_costs=True))
    assert client.get(address).status_code == 403


def test_people_take_the_same_queries_however_many(as_owner, django_assert_max_num_queries):
    for _ in range(30):
        person("maker")
    with django_assert_max_num_queries(6):
        as_owner.get("/settings/people/")


def test_a_token_is_shown_once_and_ended(as_owner):
    made = text(as_owner.post("/settings/tokens/"))
    token = made.split('class="token">')[1].split("<")[0]
    assert Client(headers={"Authorization": f"Token {token}"}).get("/api/v1/me/").status_code == 200
    assert token not in text(as_owner.get("/settings/tokens/"))
    assert as_owner.post("/settings/tokens/end/", {"key": token[:15]}).status_code == 303
    assert Client(headers={"Authorization": f"Token {token}"}).get("/api/v1/me/").status_code == 401


def test_what_somebody_likes_is_kept_and_used(as_owner):
    given = {"units": "us", "dates": "locale", "theme": "dark"}
    assert as_owner.post("/settings/", given).status_code == 303
    assert as_owner.post("/settings/", {**given, "units": "stone"}).status_code == 422
    kept = Preference.objects.get()
    assert (kept.units, kept.dates, kept.theme) == ("us", "locale", "dark")
    assert 'data-theme="dark"' in text(as_owner.get("/"))


def test_the_password_changes_and_the_session_stays(as_owner):
    given = {
        "old_password": "soda ash 12",
        "new_password1": PASSWORD,
        "new_password2": PASSWORD,
    }
    wrong = as_owner.post("/settings/password/", {**given, "old_password": "x"})
    assert wrong.status_code == 422
    assert as_owner.post("/settings/password/", given).status_code == 303
    assert as_owner.get("/settings/").status_code == 200
