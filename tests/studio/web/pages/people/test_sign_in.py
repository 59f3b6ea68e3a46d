"""Sign-in and sign-out of people."""

import pytest
from django.core.cache import cache
from django.test import Client

from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _no_tries_counted():
    cache.clear()


def sign_in(client, user, password="soda ash 12", **more):
    return client.post("/sign-in/", {"username": user.username, "password": password, **more})


def test_sign_in_and_out():
    client, user = Client(), person("maker")
    assert sign_in(client, user)["Location"] == "/"
    assert user.username in read(client.get("/"))
    assert client.post("/sign-out/")["Location"] == "/"
    assert user.username not in read(client.get("/"))


def test_sign_out_by_link_is_refused():
    assert Client().get("/sign-out/").status_code == 405


def test_wrong_password_keeps_the_name_typed():
    user = person()
    page = read(sign_in(Client(), user, "wrong"))
    assert f'value="{user.username}"' in page and 'role="alert"' in page


def test_the_admin_site_is_entered_by_the_same_door():
    client, user = Client(), person()
    asked = client.get("/admin/costing/", follow=True)
    assert asked.redirect_chain[-1] == ("/sign-in/?next=/admin/costing/", 302)
    assert client.get("/admin/login/")["Location"] == "/sign-in/?next=/admin/"
    user.is_staff = user.is_superuser = True
    user.save()
    assert sign_in(client, user, next="/admin/costing/")["Location"] == "/admin/costing/"
    assert client.get("/admin/costing/").status_code == 200
    assert client.get("/admin/login/", follow=True).redirect_chain[-1] == ("/admin/", 302)


def test_guessing_at_the_admin_site_is_slowed_down_too():
    client, user = Client(), person()
    user.is_staff = user.is_superuser = True
    user.save()
    given = {"username": user.username, "password": "soda ash 12", "next": "/admin/"}
    assert client.post("/admin/login/", given).status_code == 405
    assert "_auth_user_id" not in client.session
    answers = [client.post("/sign-in/", {**given, "password": "guess"}) for _ in range(11)]
    assert [answer.status_code for answer in answers] == [200] * 10 + [429]
    assert client.get("/admin/").status_code == 302


def test_who_is_no_staff_is_told_so_once():
    client = Client()
    client.force_login(person("owner"))
    answer = client.get("/admin/", follow=True)
    assert (len(answer.redirect_chain), answer.status_code) == (1, 403)
    assert "for staff" in read(answer)


def test_it_leads_nowhere_else():
    answer = sign_in(Client(), person(), next="https://elsewhere.example/")
    assert answer["Location"] == "/"


def test_forged_requests_are_refused():
    client = Client(enforce_csrf_checks=True)
    assert sign_in(client, person()).status_code == 403


def test_guessing_is_slowed_down_also_for_the_right_password():
    client, user = Client(), person()
    for number in range(10):
        assert sign_in(client, user, f"guess {number}").status_code == 200
    answer = sign_in(client, user)
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 0
    assert "Too many tries" in read(answer)
