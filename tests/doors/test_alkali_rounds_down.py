"""Alkali is never weighed beyond what was asked for, by whatever door a batch is planned."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.test import Client
from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchLine
from recipes.paper.sheet import sheet_values
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.sheets import sheet_of
from recipes.services.scales.scales import add_scale, save_scale
from studio.work.keeping import changed
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, stock
from tests.recipes.scales import KG, G, make_scales
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


def test_a_coarser_scale_than_planned_on_is_told_at_every_door(db):
    """Who reads 144.3 g on a scale of 5 g weighs 145 g: sheet, bench and paper say so."""
    stock(make_bench())
    fine, _ = make_scales()
    code = by_api(1003)
    planned = BatchLine.objects.get(batch__code=code, part="naoh").planned
    assert planned % (5 * G)
    assert not [each for each in sheet_of(code).warnings if "weigh no more" in each.lower()]
    save_scale(changed(fine, {"active": False}), ["active"])
    most = planned // (5 * G) * 5
    told = (
        f"Weigh no more than {most} g of Naoh on Floor scale (its step is 5 g), or give the batch "
        "back and plan it anew."
    )
    maker, client = Caller("maker"), Client()
    client.force_login(person("maker"))
    maker.done(f"batches/{code}/reserve/", {})
    assert told in maker.get(f"batches/{code}/sheet/").json()["warnings"]
    assert told in sheet_values(sheet_of(code))["warnings"]
    for page in ("sheet", "bench"):
        assert told in client.get(f"/batches/{code}/{page}/").content.decode(), page
    naoh = BatchLine.objects.get(batch__code=code, part="naoh")
    weigh_line(code, Reading(position=naoh.position, amount=most * G))
    assert told not in sheet_of(code).warnings
