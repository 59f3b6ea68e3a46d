"""The admin site shows customers and quotes, and changes neither."""

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse

from costing.models.quotes.customers import Customer
from costing.services.quotes.quotes import send_quote
from tests.costing.services.quotes.test_quotes import a_draft, a_shop
from tests.inventory.making import TODAY

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["customer", "quote"])
def test_every_list_and_row_opens_and_nothing_is_written(client, name):
    a_shop()
    quote = send_quote(a_draft().code, on=TODAY)
    client.force_login(get_user_model().objects.create_superuser("boss", password="soda ash 12"))
    row = {"customer": Customer.objects.get(), "quote": quote}[name]
    assert client.get(reverse(f"admin:costing_{name}_changelist")).status_code == 200
    change = reverse(f"admin:costing_{name}_change", args=[row.pk])
    assert client.get(change).status_code == 200
    assert client.post(change, {"code": "x"}).status_code == 403
    delete = reverse(f"admin:costing_{name}_delete", args=[row.pk])
    assert client.post(delete, {"post": "yes"}).status_code == 403
