"""Who may do what: the one table, and that nothing is open without a rule."""

import pytest
from django.contrib.auth import get_user_model
from rest_framework.routers import SimpleRouter
from rest_framework.test import APIClient

from studio.foundation.roles import CAPABILITIES, Capability, Role, capabilities_of
from studio.web.api.checks import rule_errors
from studio.web.permissions import rules_of
from tests.studio.web.api import sample_urls
from tests.studio.web.api.people import client_as, client_of, person
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
SUPPLIERS = "/api/sample/suppliers/"
COSTS = "/api/sample/costs/"
LINES = {"lines": [{"amount": 4}]}


def test_roles_grow_and_every_capability_belongs_to_the_owner():
    viewer, maker, owner = (CAPABILITIES[r] for r in (Role.VIEWER, Role.MAKER, Role.OWNER))
    assert viewer < maker < owner
    assert owner == set(Capability)
    assert not maker & {
        Capability.SEE_COSTS,
        Capability.PRICE,
        Capability.SETTLE,
        Capability.ADMIN,
    }


@pytest.mark.parametrize(
    ("role", "read", "compute", "keep", "settle"),
    [
        ("owner", 200, 200, 201, 201),
        ("maker", 200, 200, 201, 403),
        ("viewer", 200, 200, 403, 403),
        (None, 403, 403, 403, 403),
    ],
)
def test_matrix_of_roles(role, read, compute, keep, settle):
    client = client_as(role)
    assert client.get(SUPPLIERS).status_code == read
    assert client.post("/api/sample/double/", LINES).status_code == compute
    assert client.post(SUPPLIERS, {"code": "a", "name": "A"}).status_code == keep
    row = {"code": "b", "name": "B"}
    assert client.post("/api/sample/by-id/", row).status_code == settle


@pytest.mark.parametrize("method", ["get", "post"])
def test_before_sign_in_nothing_is_open(method):
    response = getattr(APIClient(), method)(SUPPLIERS)
    problem_in(response, 401, "not-signed-in")


def test_an_action_without_a_rule_is_closed_even_to_the_owner():
    document = problem_in(client_as().post(SUPPLIERS + "unruled/"), 403, "not-allowed")
    assert "no rule" in document["detail"]


def test_the_check_names_actions_without_a_rule():
    (error,) = rule_errors(sample_urls.sample)
    assert (error.id, error.obj) == ("studio.E001", sample_urls.SupplierViewSet)
    assert "'unruled'" in error.msg


def test_the_check_refuses_views_outside_the_frame():
    from rest_framework.viewsets import ReadOnlyModelViewSet

    class Loose(ReadOnlyModelViewSet):
        queryset = get_user_model().objects.all()

    router = SimpleRouter()
    router.register("loose", Loose)
    assert {error.id for error in rule_errors(router.urls)} == {"studio.E002"}


def test_every_real_endpoint_has_a_rule(settings):
    settings.ROOT_URLCONF = "studio.urls"
    assert rule_errors() == []


def test_rules_of_a_subclass_stand_over_those_of_its_base():
    assert rules_of(sample_urls.CostView)["post"] == (Capability.COMPUTE, Capability.SEE_COSTS)
    assert rules_of(sample_urls.DoubleView)["post"] == Capability.COMPUTE


def test_inactive_accounts_and_superusers():
    user = person("owner")
    user.is_active = False
    assert capabilities_of(user) == {Capability.ANYONE}
    root = get_user_model().objects.create_superuser("root", password="soda ash 12")
    assert Capability.ADMIN in capabilities_of(root)


@pytest.mark.parametrize(
    ("role", "allowed", "status"),
    [("owner", False, 200), ("maker", False, 403), ("maker", True, 200), ("viewer", True, 200)],
)
def test_costs_need_the_owners_leave(role, allowed, status):
    assert client_as(role, see_costs=allowed).post(COSTS, LINES).status_code == status


def test_cost_fields_are_hidden_and_cannot_be_set_without_leave():
    row = {"code": "a", "name": "A", "minimum_order": "25"}
    assert client_as("owner").post(SUPPLIERS, row).json()["minimum_order"]["amount"] == "25.00"
    maker = client_as("maker")
    assert "minimum_order" not in maker.get(SUPPLIERS + "a/").json()
    assert "minimum_order" not in maker.get(SUPPLIERS).json()["results"][0]
    document = problem_in(maker.post(SUPPLIERS, {**row, "code": "b"}), 400, "invalid-fields")
    assert [(e["field"], e["code"]) for e in document["errors"]] == [
        ("minimum_order", "costs-closed")
    ]
    trusted = client_as("maker", see_costs=True)
    assert trusted.get(SUPPLIERS + "a/").json()["minimum_order"]["amount"] == "25.00"


def test_a_maker_changes_a_row_without_touching_its_hidden_cost():
    client_as("owner").post(SUPPLIERS, {"code": "a", "name": "A", "minimum_order": "7"})
    maker = client_as("maker")
    changed = maker.put(SUPPLIERS + "a/", {"code": "a", "name": "B"}, headers={"If-Match": '"1"'})
    assert changed.status_code == 200
    assert client_as("owner").get(SUPPLIERS + "a/").json()["minimum_order"]["amount"] == "7.00"


@pytest.mark.parametrize("query", ["minimum_order=7", "minimum_order__range=1,9"])
def test_costs_cannot_be_found_out_by_filtering(query):
    address = f"{SUPPLIERS}?{query}"
    problem_in(client_of(person("maker")).get(address), 403, "not-allowed")
    assert client_as("owner").get(address).status_code == 200
