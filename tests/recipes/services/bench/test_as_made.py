"""From the weights: superfat and lye concentration as made, and the list of deviations."""

from decimal import ROUND_FLOOR, Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.alkalis import KOH_PER_NAOH
from recipes.errors import WorstNotAccepted
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.as_made import actuals_of
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.making import SV, make_bench, planned, stock

G = KG // 1000
MICRO = Decimal("0.000001")
PURITY = Decimal("0.98")


def reserved(**spec):
    bench = make_bench(**spec)
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def weigh(batch, weights):
    for row in BatchLine.objects.filter(batch=batch, material__code__in=weights):
        weigh_line(batch.code, Reading(position=row.position, amount=weights[row.material.code]))


def by_hand(weights):
    """Superfat and lye concentration by the plain formulas: mass x SV / 1000 is the KOH demand."""
    demand = sum(weights[code] * Decimal(sv) for code, sv in SV.items()) / 1000
    pure = weights["naoh"] * PURITY
    superfat = 1 - pure * KOH_PER_NAOH / demand
    return superfat, pure / (weights["naoh"] + weights["water"])


@pytest.mark.django_db
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    weights=st.fixed_dictionaries(
        {
            "olive": st.integers(300, 900),
            "coconut": st.integers(100, 500),
            "naoh": st.integers(60, 160),
            "water": st.integers(120, 400),
        }
    )
)
def test_figures_as_made_are_the_inverse_of_the_weights(weights):
    weights = {code: grams * G for code, grams in weights.items()}
    with transaction.atomic():
        batch = reserved()
        weigh(batch, weights)
        actuals = actuals_of(batch.code)
        superfat, concentration = by_hand(weights)
        assert abs(actuals.superfat - superfat) <= MICRO
        assert actuals.superfat <= superfat
        assert abs(actuals.lye_concentration - concentration) <= MICRO
        assert actuals.lye_heavy == (actuals.superfat < 0)
        # The pour asks for just what is told before it.
        told = [each for each in actuals.of_lots if each.code == WorstNotAccepted.code]
        figure = Decimal(told[0].details["worst"]) if told else None
        pour_batch(batch.code, Poured(on=TODAY, accept_worst=figure))
        poured = actuals_of(batch.code)
        assert (poured.superfat, poured.lye_concentration) == (
            actuals.superfat,
            actuals.lye_concentration,
        )
        assert {d.row.position for d in poured.deviations} == {
            d.row.position for d in actuals.deviations
        }
        transaction.set_rollback(True)


def test_as_planned_nothing_deviates_and_the_figures_are_the_plans(database):
    batch = reserved()
    rows = BatchLine.objects.filter(batch=batch).exclude(stage="pack")
    weigh(batch, {row.material.code: row.planned for row in rows})
    actuals = actuals_of(batch.code)
    batch = Batch.objects.get(pk=batch.pk)
    assert actuals.deviations == () and actuals.complete
    assert (actuals.superfat, actuals.lye_concentration) == (
        batch.superfat,
        batch.lye_concentration,
    )


def test_before_anything_is_weighed_the_figures_are_those_of_the_lots_held(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    assert actuals_of(batch.code).superfat is None
    reserve_batch(batch.code)
    actuals = actuals_of(batch.code)
    assert not actuals.complete and actuals.deviations == ()
    assert actuals.superfat == Batch.objects.get(pk=batch.pk).superfat


def test_a_lots_own_values_count_once_it_was_weighed_from(database):
    batch = reserved()
    olive = BatchLine.objects.get(batch=batch, material__code="olive")
    other = make_lot(olive.material, 5 * KG, sv_mg_koh_g=Decimal(180))
    before = actuals_of(batch.code)
    from inventory.queries.stock.candidates import ChosenLot

    weigh_line(
        batch.code,
        Reading(position=olive.position, amount=olive.planned, lots=[ChosenLot(code=other.code)]),
    )
    after = actuals_of(batch.code)
    assert after.superfat < before.superfat and after.deviations == ()


def test_a_masterbatch_counts_by_its_lots_strength(database):
    from inventory.domain.catalog.materials import MaterialKind
    from tests.inventory.making import make_material

    stored = make_material(
        "stored",
        kind=MaterialKind.INTERMEDIATE.value,
        alkali="NaOH",
        purity=Decimal("0.5"),
    )
    make_lot(stored, 5 * KG, purity=Decimal("0.49"))
    batch = reserved(masterbatch=stored, naoh=None)
    rows = {row.part: row for row in BatchLine.objects.filter(batch=batch)}
    actuals = actuals_of(batch.code)
    pure = rows["masterbatch"].planned * Decimal("0.49")
    whole = rows["masterbatch"].planned + rows["water"].planned
    assert actuals.lye_concentration == (pure / whole).quantize(MICRO)
    demand = sum(
        row.planned * Decimal(SV[row.material.code]) / 1000
        for row in BatchLine.objects.filter(batch=batch, material__code__in=SV)
    )
    assert actuals.superfat == (1 - pure * KOH_PER_NAOH / demand).quantize(MICRO, ROUND_FLOOR)


def test_deviations_say_what_is_outside(database):
    batch = reserved()
    rows = {row.material.code: row for row in BatchLine.objects.filter(batch=batch)}
    olive, naoh = rows["olive"].planned, rows["naoh"].planned
    weigh(batch, {"olive": olive + G, "naoh": naoh + 20 * G})
    found = {line.row.material.code: line.deviation for line in actuals_of(batch.code).deviations}
    assert set(found) == {"olive", "naoh"}
    assert not found["olive"].is_outside and found["naoh"].is_outside
    assert found["naoh"].difference == 20 * G
