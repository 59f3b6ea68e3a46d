"""The gate of a worst superfat below zero: what it reads and keeps."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from recipes.errors import WorstNotAccepted
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.formulas.worst import worst_of
from recipes.services.chemistry.worst_superfat import accept_worst, allow_worst
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person


@pytest.fixture
def version(database):
    return make_bench(superfat=D("0.03")).version


def safety_of(version, worst):
    found = worst_of(load_formula(code="plain", number=version.number))
    assert found is not None
    return replace(found, worst=D(worst))


def test_nothing_is_read_of_what_stays_at_zero_or_above(version, django_assert_num_queries):
    safe = safety_of(version, "0")
    with django_assert_num_queries(0):
        allow_worst(version, safe, of="it")
        allow_worst(version, None, of="a blend")


def test_what_is_accepted_costs_one_query_to_ask_and_one_to_keep(
    version, django_assert_num_queries
):
    heavy = safety_of(version, "-0.008316")
    with django_assert_num_queries(1), pytest.raises(WorstNotAccepted) as asked:
        allow_worst(version, heavy, of="it")
    assert asked.value.faults[0].details == {"worst": "-0.009"}
    maker = person("maker")
    with transaction.atomic(), django_assert_num_queries(2):
        allow_worst(version, heavy, of="it", accept=D("-0.009"), by=maker)
    with django_assert_num_queries(1):
        allow_worst(version, heavy, of="it")
    row = AcceptedWorst.objects.get()
    assert (row.version, row.worst, row.by) == (version, D("-0.009"), maker)


def test_whoever_accepts_it_again_changes_nothing(version):
    accept_worst(version, D("-0.019"), by=person("maker"))
    first = AcceptedWorst.objects.get()
    accept_worst(version, D("-0.019"), by=person("owner"))
    again = AcceptedWorst.objects.get()
    assert (again.pk, again.by, again.at) == (first.pk, first.by, first.at)


@pytest.mark.parametrize("figure", ["-0.0191", "-0.02", "-0.9", "-1"])
def test_a_figure_more_than_a_point_below_the_worst_is_refused(version, figure):
    heavy = safety_of(version, "-0.008316")
    with pytest.raises(WorstNotAccepted, match="more than a point below") as asked:
        allow_worst(version, heavy, of="it", accept=D(figure))
    assert asked.value.faults[0].details == {"worst": "-0.009"}
    assert not AcceptedWorst.objects.exists()
    allow_worst(version, heavy, of="it", accept=D("-0.019"))
    assert AcceptedWorst.objects.get().worst == D("-0.009")


def test_a_version_is_not_accepted_by_a_figure_far_below(version):
    with pytest.raises(WorstNotAccepted, match="more than a point below"):
        accept_worst(version, D("-0.9"))
    assert not AcceptedWorst.objects.exists()


def test_rows_keep_one_standing_figure_below_zero(version):
    def put(worst, **values):
        with transaction.atomic():
            AcceptedWorst.objects.create(version=version, worst=D(worst), **values)

    put("-0.01", withdrawn_at=timezone.now())
    put("-0.01")
    for worst in ("-0.01", "0"):
        with pytest.raises(IntegrityError):
            put(worst)
