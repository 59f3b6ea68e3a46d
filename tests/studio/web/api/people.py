"""Accounts and clients for tests of the API."""

from itertools import count
from typing import Any

from django.contrib.auth import get_user_model
from rest_framework.test import APIClient

from studio.models import Membership

_numbers = count(1)


def person(role: str | None = "owner", *, see_costs: bool = False) -> Any:
    """A new account with a role, or without one."""
    user = get_user_model().objects.create_user(f"person-{next(_numbers)}", password="soda ash 12")
    if role is not None:
        Membership.objects.create(user=user, role=role, may_see_costs=see_costs)
    return user


def client_of(user: Any) -> APIClient:
    """A client signed in as `user`."""
    client = APIClient()
    client.force_authenticate(user)
    return client


def client_as(role: str | None = "owner", *, see_costs: bool = False) -> APIClient:
    """A client signed in as a new account with a role."""
    return client_of(person(role, see_costs=see_costs))
