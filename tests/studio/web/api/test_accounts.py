"""Sign-in of programs."""

import pytest
from knox.models import AuthToken
from rest_framework.test import APIClient

from studio.foundation.roles import Capability
from tests.studio.web.api.people import person
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
TOKEN = "/api/v1/auth/token/"
ME = "/api/v1/me/"


def sign_in(user, password="soda ash 12"):
    return APIClient().post(TOKEN, {"username": user.username, "password": password})


def with_token(token):
    return APIClient(headers={"Authorization": f"Token {token}"})


def test_a_token_opens_what_the_role_allows_until_sign_out():
    user = person("maker")
    answer = sign_in(user)
    assert answer.status_code == 201
    client = with_token(answer.json()["token"])
    me = client.get(ME).json()
    assert (me["username"], me["role"], me["may_see_costs"]) == (user.username, "maker", False)
    assert Capability.MAKE in me["capabilities"] and Capability.PRICE not in me["capabilities"]
    assert client.delete(TOKEN).status_code == 204
    problem_in(client.get(ME), 401, "sign-in-failed")


def test_only_a_digest_is_kept():
    token = sign_in(person()).json()["token"]
    kept = AuthToken.objects.get()
    assert token not in (kept.digest, kept.token_key)


def test_sign_out_everywhere():
    user = person()
    clients = [with_token(sign_in(user).json()["token"]) for _ in range(2)]
    assert clients[0].delete("/api/v1/auth/tokens/").status_code == 204
    problem_in(clients[1].get(ME), 401, "sign-in-failed")


def test_wrong_password_and_unknown_name_sound_the_same():
    user = person()
    wrong = problem_in(sign_in(user, "x"), 401, "sign-in-failed")
    unknown = APIClient().post(TOKEN, {"username": "nobody", "password": "x"})
    assert problem_in(unknown, 401, "sign-in-failed") == wrong


def test_a_dead_token_does_not_keep_anyone_from_signing_in():
    user = person()
    client = with_token("dead")
    answer = client.post(TOKEN, {"username": user.username, "password": "soda ash 12"})
    assert answer.status_code == 201


def test_guessing_a_password_is_slowed_down():
    user = person()
    statuses = [sign_in(user, f"guess {number}").status_code for number in range(11)]
    assert statuses == [401] * 10 + [429]
    document = sign_in(user)
    problem_in(document, 429, "too-many-tries")
    assert int(document["Retry-After"]) > 0


@pytest.mark.parametrize(
    "body", [{}, {"username": "a"}, {"username": {}, "password": []}, {"user": "a"}, []]
)
def test_bad_sign_in_bodies(body):
    problem_in(APIClient().post(TOKEN, body), 400, "invalid-fields")


def test_an_account_without_a_role_may_only_ask_who_it_is():
    client = with_token(sign_in(person(None)).json()["token"])
    assert client.get(ME).json()["role"] is None
    document = problem_in(client.get("/api/sample/suppliers/"), 403, "not-allowed")
    assert "no role" in document["detail"]
