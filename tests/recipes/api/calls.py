"""Requests of the recipes' API, and bodies that are right; tests change one thing in them."""

import copy
import uuid
from contextlib import contextmanager
from decimal import Decimal
from itertools import count

from django.apps import apps

from inventory.domain.catalog.materials import MaterialKind as Kind
from tests.inventory.making import KG, make_lot, make_material
from tests.studio.web.api.people import client_as

V1 = "/api/v1/"
_NUMBERS = count(1)

LOAF = {
    "code": "loaf",
    "name": "Loaf",
    "shape": "rectangular",
    "length": "24 cm",
    "width": "70 mm",
    "depth": {"amount": "60", "unit": "mm"},
    "rows": 8,
}
VERSION = {
    "lines": [
        {"material": "olive", "basis": "share-of-fats", "amount": "70 %"},
        {"material": "coconut", "basis": "share-of-fats", "amount": "0.3"},
        {"material": "scent", "basis": "of-fats", "amount": "0.03", "stage": "trace"},
        {"material": "box", "basis": "per-bar", "amount": 1, "stage": "pack"},
    ],
    "naoh": "naoh",
    "water": "water",
    "superfat": "0.06",
    "lye_concentration": "33 %",
    "cure_loss_share": "0.1",
    "cure_days": 28,
    "minutes": 90,
}


class Caller:
    """A signed-in program: paths below /api/v1/, JSON in and out, a fresh key for each POST."""

    def __init__(self, role="maker"):
        self.client = client_as(role)

    def get(self, path, **query):
        return self.client.get(V1 + path, query)

    def post(self, path, body=None, **headers):
        headers.setdefault("Idempotency-Key", str(uuid.uuid4()))
        return self.client.post(V1 + path, body or {}, format="json", headers=headers)

    def put(self, path, body, **headers):
        return self.client.put(V1 + path, body, format="json", headers=headers)

    def patch(self, path, body, **headers):
        return self.client.patch(V1 + path, body, format="json", headers=headers)

    def made(self, path, body=None, status=201, **headers):
        response = self.post(path, body, **headers)
        assert response.status_code == status, response.content
        return response.json()

    def done(self, path, body=None):
        return self.made(path, body, status=200)


def changed(body, **values):
    """A copy of a body with some members changed; "__" goes one level down, None takes out."""
    body = copy.deepcopy(body)
    for path, value in values.items():
        *parents, name = [int(p) if p.isdigit() else p for p in path.split("__")]
        place = body
        for parent in parents:
            place = place[parent]
        if value is None:
            del place[name]
        else:
            place[name] = value
    return body


def fill_shelf(amount=5 * KG):
    """Materials of a plain soap, a lot of each; what comes from deliveries, not from recipes."""
    made = {}
    for code, sv in (("olive", "190"), ("coconut", "256")):
        made[code] = make_material(
            code,
            sv_mg_koh_g=Decimal(sv),
            sv_low_mg_koh_g=Decimal(sv) - 6,
            iodine_value=Decimal(10),
            density_g_ml=Decimal("0.915"),
            density_temperature_c=Decimal(20),
        )
        made[code].fatty_acids.create(acid="C12:0", share=Decimal("0.4"))
        made[code].fatty_acids.create(acid="C18:1", share=Decimal("0.6"))
    made["naoh"] = make_material(
        "naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=Decimal("0.98")
    )
    made["weak-lye"] = make_material(
        "weak-lye", kind=Kind.INTERMEDIATE.value, alkali="NaOH", purity=Decimal("0.25")
    )
    made["strong-lye"] = make_material(
        "strong-lye", kind=Kind.INTERMEDIATE.value, alkali="NaOH", purity=Decimal("0.5")
    )
    made["water"] = make_material(
        "water", kind=Kind.LIQUID.value, water_share=Decimal(1), density_g_ml=Decimal(1)
    )
    made["scent"] = make_material(
        "scent",
        kind=Kind.FRAGRANCE.value,
        ifra_category9_max=Decimal("0.05"),
        density_g_ml=Decimal("0.95"),
    )
    made["box"] = make_material("box", kind=Kind.PACKAGING.value, counted=True)
    for material in made.values():
        make_lot(material, 100 if material.counted else amount, 50_000)
    return made


def write_recipe(caller, **version):
    """Mold, formula and version through the API; the code of the formula."""
    if caller.get("molds/loaf/").status_code == 404:
        caller.made("molds/", LOAF)
    code = f"plain-{next(_NUMBERS)}"
    caller.made("formulas/", {"code": code, "name": "Plain"})
    caller.made(f"formulas/{code}/versions/", changed(VERSION, **version))
    return code


def plan_batch(caller, code, **target):
    body = {
        "formula": code,
        "planned_on": "2026-03-02",
        "target": target or {"mold": "loaf"},
    }
    return caller.made("batches/", body)["code"]


def row_counts():
    """How many rows each table of the trade has."""
    return {
        model._meta.label: model._default_manager.count()
        for app in ("inventory", "recipes", "costing")
        for model in apps.get_app_config(app).get_models()
    }


def balances():
    """What every lot holds."""
    lots = apps.get_model("inventory", "Lot").objects.order_by("id")
    return list(lots.values_list("code", "on_hand", "reserved", "cost", "state"))


@contextmanager
def nothing_changes():
    before = row_counts(), balances()
    yield
    assert (row_counts(), balances()) == before
