"""Where a material is used: in the current versions of the recipes in use."""

from decimal import Decimal

import pytest
from django.test import Client

from recipes.domain.formulas.formula import Basis
from recipes.queries.formulas.listed import recipes_with
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from tests.recipes.making import make_bench, next_version
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def named(code):
    return [(use.code, use.note) for use in recipes_with(code)]


def test_a_recipe_is_named_once_for_what_its_current_version_takes():
    bench = make_bench()
    assert named("olive") == named("coconut") == named("naoh") == [("plain", "version 1")]
    whole = LineSpec(
        material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1)
    )
    next_version(
        bench.formula,
        VersionSpec(
            lines=[whole],
            naoh=bench.materials["naoh"],
            water=bench.materials["water"],
            superfat=Decimal("0.05"),
            lye_concentration=Decimal("0.33"),
        ),
    )
    assert named("olive") == [("plain", "version 2")]
    assert named("coconut") == [], "only an older version takes it"
    bench.formula.active = False
    bench.formula.save(update_fields=["active"])
    assert named("olive") == []


def test_the_materials_page_leads_to_the_recipe(django_assert_num_queries):
    make_bench()
    with django_assert_num_queries(1):
        recipes_with("olive")
    client = Client()
    client.force_login(person("viewer"))
    page = client.get("/shelf/materials/olive/").content.decode()
    assert '<a href="/recipes/plain/">Plain olive</a>' in page
