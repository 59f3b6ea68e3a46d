"""Labels stand on their paper, beside each other, as many as were asked for."""

from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from recipes.domain.labels.grid import MOST_LABELS, PAPERS, LabelGrid
from studio.foundation.errors import InvalidInput

MM = 10**6


@st.composite
def grids(draw):
    def length(most):
        return draw(st.integers(0, most * MM))

    values = {
        "paper": draw(st.sampled_from(sorted(PAPERS))),
        "rows": draw(st.integers(1, 12)),
        "columns": draw(st.integers(1, 5)),
        "margin_top_nm": length(20),
        "margin_left_nm": length(20),
        "margin_bottom_nm": draw(st.none() | st.integers(0, 20 * MM)),
        "margin_right_nm": draw(st.none() | st.integers(0, 20 * MM)),
        "gap_down_nm": length(4),
        "gap_across_nm": length(4),
    }
    values["start"] = draw(st.integers(1, values["rows"] * values["columns"]))
    try:
        return LabelGrid(**values)
    except InvalidInput:
        assume(False)


@given(grids(), st.integers(1, 200))
def test_as_many_labels_as_asked_for_all_on_the_paper(grid, count):
    pages = grid.pages(count)
    assert sum(len(page) for page in pages) == count
    width, height = PAPERS[grid.paper]
    for place in (place for page in pages for place in page):
        assert 0 <= place.x_nm <= width - grid.width_nm
        assert 0 <= place.y_nm <= height - grid.height_nm


@given(grids(), st.integers(1, 200))
def test_no_two_labels_of_a_page_overlap(grid, count):
    for page in grid.pages(count):
        assert len(set(page)) == len(page)
        columns = sorted({place.x_nm for place in page})
        rows = sorted({place.y_nm for place in page})
        assert all(b - a >= grid.width_nm for a, b in pairwise(columns))
        assert all(b - a >= grid.height_nm for a, b in pairwise(rows))


@given(grids())
def test_a_sheet_begun_leaves_its_first_places_free(grid):
    on_page = grid.rows * grid.columns
    first, *rest = grid.pages(on_page)
    assert len(first) == on_page - grid.start + 1
    assert sum(len(page) for page in rest) == grid.start - 1
    assert len(grid.pages(on_page - grid.start + 1)) == 1


def test_a_grid_of_round_numbers():
    # A4: 210 - 2 x 6 - 2 x 3 = 192, in three 64; 297 - 2 x 8.5 = 280, in seven 40
    grid = LabelGrid(
        rows=7, columns=3, margin_left_nm=6 * MM, margin_top_nm=8_500_000, gap_across_nm=3 * MM
    )
    assert (grid.width_nm, grid.height_nm) == (64 * MM, 40 * MM)
    place = grid.pages(21)[0][4]
    assert (place.x_nm, place.y_nm) == (73 * MM, 48_500_000)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"paper": "a5"}, {"paper"}),
        ({"rows": 0, "columns": 41}, {"rows", "columns"}),
        ({"margin_left_nm": -1, "gap_down_nm": -1}, {"margin_left", "gap_down"}),
        ({"start": 22}, {"start"}),
        ({"columns": 9, "rows": 30, "start": 0}, {"columns", "rows", "start"}),
        ({"margin_left_nm": 120 * MM}, {"columns"}),
    ],
)
def test_a_grid_without_room_is_refused_with_all_that_is_wrong(values, expected):
    with pytest.raises(InvalidInput) as refused:
        LabelGrid(**values)
    assert {fault.field for fault in refused.value.faults} == expected


@pytest.mark.parametrize("count", [0, MOST_LABELS + 1])
def test_no_labels_and_too_many_are_refused(count):
    with pytest.raises(InvalidInput):
        LabelGrid().pages(count)
