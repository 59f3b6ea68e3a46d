"""A mold is saved whole or refused with all that is wrong."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recipes.models.molds.molds import Mold, MoldShape
from recipes.queries.molds.molds import cut_of
from recipes.services.molds.molds import SIZES, check_mold, save_mold
from studio.foundation.errors import InvalidInput

MM = 10**6


def mold(**values):
    sizes = {"length": 200 * MM, "width": 70 * MM, "depth": 60 * MM}
    return Mold(**{"code": "m", "name": "M", "shape": "rectangular", **sizes, **values})


def faults_of(row):
    with pytest.raises(InvalidInput) as refused:
        save_mold(row)
    return {(fault.field, fault.code) for fault in refused.value.faults}


@pytest.mark.django_db
def test_all_faults_are_told_at_once_and_nothing_is_saved():
    row = mold(length=None, width=-1, diameter=5 * MM, divider=2 * MM, trim=-1, rows=0)
    assert faults_of(row) == {
        ("length", "size-missing"),
        ("width", "not-positive"),
        ("diameter", "size-not-used"),
        ("divider", "size-not-used"),
        ("trim", "below-zero"),
        ("rows", "not-positive"),
    }
    assert not Mold.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"shape": "measured", "measured_volume": 10**9, "length": None, "width": None,
          "depth": None, "trim": 5 * MM}, {("trim", "invalid-input")}),
        ({"shape": "measured", "measured_volume": 10**9, "length": None, "width": None,
          "depth": None, "fill_height": 5 * MM}, {("fill_height", "invalid-input")}),
        ({"shape": "slab", "divider": 200 * MM, "columns": 2}, {("divider", "no-room")}),
        ({"shape": "slab", "divider": 10 * MM, "columns": 8, "trim": 9 * MM},
         {("trim", "no-bars")}),
        ({"cavities": 10_001}, {("cavities", "count-out-of-range")}),
        ({"length": 5_001 * MM, "width": 5_001 * MM},
         {("length", "too-long"), ("width", "too-long")}),
        ({"length": 5_000 * MM, "width": 5_000 * MM, "depth": 5_000 * MM},
         {("shape", "too-large")}),
    ],
)  # fmt: skip
def test_what_the_geometry_refuses_has_the_names_of_the_row(values, expected):
    assert faults_of(mold(**values)) == expected


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    shape=st.sampled_from(list(MoldShape)),
    sizes=st.dictionaries(
        st.sampled_from(
            ["length", "width", "depth", "top_length", "top_width", "diameter", "divider",
             "measured_volume", "fill_height", "trim"]
        ),
        st.integers(-5, 6_000).map(lambda mm: mm * MM),
    ),
    rows=st.integers(-1, 2_000),
    cavities=st.integers(-1, 20_000),
)  # fmt: skip
def test_whatever_is_accepted_can_be_filled_and_cut(shape, sizes, rows, cavities):
    row = Mold(code="m", name="M", shape=shape.value, rows=rows, cavities=cavities, **sizes)
    try:
        check_mold(row)
    except InvalidInput as refusal:
        assert all(fault.field and fault.message for fault in refusal.faults)
    else:
        assert all(getattr(row, name) > 0 for name in SIZES[shape])
        cut_of(row)
