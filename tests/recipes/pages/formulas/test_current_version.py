"""Making a trial the current version, on its page."""

from decimal import Decimal

import pytest
from django.test import Client

from recipes.domain.formulas.formula import Basis
from recipes.models.formulas.formulas import Formula
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_version, make_current
from tests.read_pages import read
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="maker", *, user=None):
    client = Client()
    client.force_login(user or person(role))
    return client


@pytest.fixture
def trial():
    bench = make_bench()
    line = LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1))
    spec = VersionSpec(
        lines=[line],
        naoh=bench.materials["naoh"],
        water=bench.materials["water"],
        superfat=Decimal("0.08"),
        lye_concentration=Decimal("0.33"),
    )
    return add_version(bench.formula, spec)


def test_pages_tell_the_current_version_from_a_trial(trial):
    client = signed_in()
    assert "newest: 2" in read(client.get("/recipes/"))
    page = read(client.get("/recipes/plain/"))
    assert "is current since" in page and "a later one" in page and "current</button>" not in page
    page = read(client.get("/recipes/plain/?version=2"))
    assert "is a later one" in page and "Make version 2 current" in page
    scaled = read(client.get("/recipes/plain/scale/?version=2"))
    assert "Version 2, which is not the current one." in scaled
    assert "Make version 2 current" not in read(
        signed_in("viewer").get("/recipes/plain/?version=2")
    )


def test_what_was_current_before_is_called_no_trial(trial):
    make_current(trial)
    make_current(trial.formula.versions.get(number=1))  # chosen again: the later one was current
    client = signed_in()
    for address in ("", "?version=2", "scale/?version=2"):
        page = read(client.get(f"/recipes/plain/{address}"))
        assert "trial" not in page and ("a later one" in page or "not the current one" in page)
    make_current(trial)
    page = read(client.get("/recipes/plain/?version=1"))
    assert "is an earlier one" in page and "trial" not in page
    assert '<span class="quiet">an earlier one</span>' in page


def test_a_trial_is_made_current_with_one_button(trial):
    maker = person("maker")
    client, address = signed_in(user=maker), "/recipes/plain/versions/2/make-current/"
    stale = client.post(address, {"revision": 9}, follow=True)
    assert "Somebody else saved it after you opened this" in read(stale)
    assert Formula.objects.get(code="plain").current.number == 1
    done = client.post(address, {"revision": 1}, follow=True)
    assert "Version 2 is current: products, new batches, orders and costs follow it" in read(done)
    assert "is current since" in read(done) and f"by {maker.username}," in read(done)
    formula = Formula.objects.get(code="plain")
    assert (formula.current, formula.current_by.username) == (trial, maker.username)
    assert client.post("/recipes/plain/versions/7/make-current/", {}).status_code == 404
    assert signed_in("viewer").post(address, {"revision": 2}).status_code == 403
