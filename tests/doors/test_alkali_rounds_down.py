"""Alkali is never weighed beyond what was asked for, by whatever door a batch is planned."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.test import Client
from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.scales.scales import add_scale
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, stock
from tests.recipes.scales import KG, G
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
#: 0.7 of olive (190) and 0.3 of coconut (256 mg KOH/g), 6 % superfat, NaOH of 98 %.
KOH_PER_NAOH = Fraction(561056, 399971)  # IUPAC standard atomic weights


def most_alkali(batch):
    """What the fats of a batch ask for, in ng, with fractions of this test's own."""
    sv = {"olive": 190, "coconut": 256}
    lines = BatchLine.objects.filter(batch=batch, material__code__in=sv)
    demand = sum(Fraction(line.planned * sv[line.material.code], 1000) for line in lines)
    return demand * Fraction(94, 100) / KOH_PER_NAOH / Fraction(98, 100)


def by_api(fats):
    body = {"formula": "plain", "target": {"fats": f"{fats} g"}}
    body["planned_on"] = str(timezone.localdate())
    return Caller("maker").made("batches/", body)["code"]


def by_page(fats):
    client = Client()
    client.force_login(person("maker"))
    today = str(timezone.localdate())
    sent = {"size": "fats", "amount": f"{fats} g", "on": today, "then": "plan", "once": "k-1"}
    answer = client.post("/recipes/plain/plan/", sent)
    assert answer.status_code == 303, answer.content
    return answer["Location"].strip("/").rpartition("/")[2]


@pytest.mark.parametrize("door", [by_api, by_page])
@pytest.mark.parametrize("step", [None, G, 7 * G])
@pytest.mark.parametrize("fats", [997, 1003, 2311])
def test_no_door_plans_more_alkali_than_the_fats_ask_for(door, step, fats):
    stock(make_bench())
    if step:
        add_scale(code="only", name="Only", step=step, capacity=60 * KG)
    batch = Batch.objects.get(code=door(fats))
    naoh = BatchLine.objects.get(batch=batch, part="naoh").planned
    shown, most = step or G, most_alkali(batch)
    assert naoh % shown == 0 and most - shown - 1 < naoh <= most + 1
    assert batch.superfat >= Decimal("0.06")
