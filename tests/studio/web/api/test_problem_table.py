"""The table of problems is complete, without doubles, and each code has its page."""

import importlib
import pkgutil

import pytest
from rest_framework.test import APIClient

import costing
import inventory
import recipes
import studio
from studio.foundation.errors import Refusal
from studio.web.problems import EdgeRefusal, all_types, subclasses

NOT_CODE = ("migrations",)


def load_everything():
    for package in (studio, inventory, recipes, costing):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not any(part in module.name for part in NOT_CODE):
                importlib.import_module(module.name)


def test_each_refusal_has_its_own_code_title_and_explanation():
    load_everything()
    for cls in subclasses(Refusal) + subclasses(EdgeRefusal):
        own = vars(cls)
        assert "code" in own and "title" in own, f"{cls.__qualname__} borrows its code or title"
        assert own.get("__doc__"), f"{cls.__qualname__} explains nothing"


def test_codes_are_unique_and_fit_an_address():
    load_everything()
    codes = [kind.code for kind in all_types()]
    doubled = sorted({code for code in codes if codes.count(code) > 1})
    assert doubled == []
    assert all(code.replace("-", "").isalnum() and code == code.lower() for code in codes)


@pytest.mark.django_db
def test_every_code_has_a_page():
    client = APIClient()
    listed = client.get("/api/problems/").content.decode()
    for kind in all_types():
        page = client.get(kind.url)
        assert page.status_code == 200
        assert kind.url in listed
    assert client.get("/api/problems/never-heard-of/").status_code == 404
