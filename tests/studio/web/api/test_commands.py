"""Commands that make accounts and tokens."""

import io

import pytest
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from rest_framework.test import APIClient

from studio.foundation.roles import Role, role_of

pytestmark = pytest.mark.django_db
PASSWORD = "goggles-and-gloves-9"


@pytest.fixture
def password(tmp_path):
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n")
    return str(file)


def test_an_owner_who_can_sign_in(password):
    call_command("create_owner", "ida", password_from=password, stdout=io.StringIO())
    user = get_user_model().objects.get(username="ida")
    assert role_of(user) is Role.OWNER and user.is_staff and user.check_password(PASSWORD)


def test_a_maker_is_no_administrator(password):
    out = io.StringIO()
    call_command("create_owner", "mo", role="maker", password_from=password, stdout=out)
    user = get_user_model().objects.get(username="mo")
    assert role_of(user) is Role.MAKER and not (user.is_staff or user.is_superuser)
    assert out.getvalue() == "mo is maker of this studio.\n"


def test_refusals_leave_no_account(password, tmp_path):
    call_command("create_owner", "ida", password_from=password, stdout=io.StringIO())
    weak = tmp_path / "weak"
    weak.write_text("12345678")
    for name, file in (("ida", password), ("eve", str(weak)), ("a b", password), ("eve", "/no")):
        with pytest.raises(CommandError):
            call_command("create_owner", name, password_from=file)
    assert get_user_model().objects.count() == 1


def test_a_token_that_works(password):
    call_command("create_owner", "ida", password_from=password, stdout=io.StringIO())
    out = io.StringIO()
    call_command("token", "ida", stdout=out)
    client = APIClient(headers={"Authorization": f"Token {out.getvalue().strip()}"})
    assert client.get("/api/v1/me/").json()["role"] == "owner"


def test_no_token_for_nobody_or_for_ever(password):
    call_command("create_owner", "ida", password_from=password, stdout=io.StringIO())
    for name, days in (("nobody", 1), ("ida", 0), ("ida", 10**6)):
        with pytest.raises(CommandError):
            call_command("token", name, days=days)
