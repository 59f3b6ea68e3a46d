"""The description of the API says what the API does."""

import json

import pytest
from django.core.management import call_command
from drf_spectacular.generators import SchemaGenerator
from jsonschema.exceptions import ValidationError
from rest_framework.test import APIClient

from tests.studio.web.api import sample_urls
from tests.studio.web.api.openapi import assert_is_openapi

RECEIVE = "/api/sample/suppliers/receive/"
ONE = "/api/sample/suppliers/{code}/"


@pytest.fixture(scope="module")
def described():
    return SchemaGenerator(patterns=sample_urls.urlpatterns).get_schema(request=None, public=True)


def headers_of(operation):
    return {p["name"] for p in operation.get("parameters", ()) if p["in"] == "header"}


def test_it_is_valid_openapi(described):
    assert_is_openapi(described)


def test_headers_are_declared_where_they_are_needed(described):
    paths = described["paths"]
    assert headers_of(paths[RECEIVE]["post"]) == {"Idempotency-Key"}
    assert headers_of(paths[ONE]["put"]) == headers_of(paths[ONE]["patch"]) == {"If-Match"}
    assert headers_of(paths[ONE]["get"]) == set()


def test_problems_are_declared(described):
    answers = described["paths"][ONE]["patch"]["responses"]
    assert {"200", "400", "401", "403", "404", "409", "412", "422", "428"} <= set(answers)
    content = answers["412"]["content"]["application/problem+json"]
    assert content["schema"] == {"$ref": "#/components/schemas/Problem"}


def test_serializers_and_statuses_of_actions_are_declared(described):
    operation = described["paths"][RECEIVE]["post"]
    assert "201" in operation["responses"] and "200" not in operation["responses"]
    body = operation["requestBody"]["content"]["application/json"]["schema"]
    assert body == {"$ref": "#/components/schemas/GivenRequest"}


def test_pages_of_lists_are_declared(described):
    operation = described["paths"]["/api/sample/suppliers/"]["get"]
    names = {p["name"] for p in operation["parameters"]}
    assert {"cursor", "page_size", "active", "name"} <= names
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    assert schema["$ref"].endswith("PaginatedSupplierList")


@pytest.mark.django_db
def test_description_and_its_page_need_no_sign_in_and_no_foreign_host():
    client = APIClient()
    assert client.get("/api/schema/").status_code == 200
    page = client.get("/api/docs/").content.decode()
    assert "/static/drf_spectacular_sidecar/" in page
    assert "//cdn" not in page and "unpkg" not in page


@pytest.mark.parametrize("broken", [{"paths": []}, {"info": {"title": 1}}, {"novel": True}])
def test_what_is_not_openapi_is_told(described, broken):
    with pytest.raises(ValidationError):
        assert_is_openapi({**described, **broken})


@pytest.mark.django_db
def test_the_real_description_has_no_warnings(settings, capsys):
    settings.ROOT_URLCONF = "studio.urls"
    call_command("spectacular", "--fail-on-warn", "--format", "openapi-json")
    assert_is_openapi(json.loads(capsys.readouterr().out))
