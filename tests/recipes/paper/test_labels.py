"""Sheets of labels, read back from the PDF: every word there, on as many pages as places."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.labels.grid import LabelGrid
from recipes.errors import LabelRefusal
from recipes.paper.amounts import OUNCE_NG
from recipes.paper.labels import Label, label_sheet, net_weight_text
from recipes.services.labels.labels import LOCAL_LAW
from tests.studio.foundation.paper.reading import text_of, words_of, words_overlapping

MM, G = 10**6, 10**9
SMALL = Label(title="Plain", lines=((("Lot", "B-1"),),))
LONGEST = Label(
    title="Lavender " * 13,
    lines=(
        (("Ingredients:", ", ".join(f"Butyrospermum Parkii Extract {i}" for i in range(30))),),
        (("Lot", "L" * 40), ("Best before", "2028-01-31")),
        (("", "For external use only."),),
    ),
    address="http://127.0.0.1:8000/api/v1/lots/" + "L" * 40 + "/",
)


def pages(pdf):
    return text_of(pdf).replace("\u200b", "").split("\f")[:-1]


def words(text):
    return " ".join(text.split())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize(("margin", "told"), [(15, 1), (0, 21)], ids=["margin", "label"])
def test_every_page_says_that_local_law_goes_first(paper, margin, told):
    grid = LabelGrid(paper=paper, margin_top_nm=margin * MM)
    found = pages(label_sheet(SMALL, grid, count=25, paper=paper))
    assert len(found) == 2
    last = LOCAL_LAW.split()[-1]
    assert words(found[0]).count(last) == told
    assert last in found[1]
    assert [words(page).count("Plain") for page in found] == [21, 4]


def test_the_longest_words_are_whole_or_the_sheet_is_refused():
    found = pages(label_sheet(LONGEST, LabelGrid(rows=3, columns=2), count=1, paper="a4"))
    text = words(found[0])
    for name in ("Extract 0,", "Extract 29", "2028-01-31", "For external use only."):
        assert name in text
    assert "L" * 40 in text.replace(" ", "")
    with pytest.raises(LabelRefusal) as refused:
        label_sheet(LONGEST, LabelGrid(rows=14, columns=4), count=1, paper="a4")
    assert refused.value.faults[0].field == "rows"


@pytest.mark.parametrize("label", [SMALL, LONGEST], ids=["small", "longest"])
def test_words_stand_inside_their_label_and_none_over_another(label):
    grid = LabelGrid(rows=3, columns=2)
    pdf = label_sheet(label, grid, count=6, paper="a4")
    point = 25_400_000 / 72
    places = grid.pages(6)[0]
    below = (places[-1].y_nm + grid.height_nm) / point
    words_there = [word for word in words_of(pdf)[0] if word.top < below]
    assert len(words_there) >= 6 * 3
    for word in words_there:
        assert any(
            place.x_nm <= word.left * point
            and word.right * point <= place.x_nm + grid.width_nm
            and place.y_nm <= word.top * point
            and word.bottom * point <= place.y_nm + grid.height_nm
            for place in places
        ), word
    assert words_overlapping(pdf) == []


def test_text_of_people_is_never_markup():
    odd = "#panic() *bold* $x$ @ref <tag> `raw` [x] \\ \N{SNOWMAN}"
    label = Label(title=odd, lines=((("Lot", odd),),))
    text = words(pages(label_sheet(label, LabelGrid(), count=1, paper="a4"))[0])
    assert "#panic() *bold* $x$ @ref <tag> `raw` [x]" in text


@given(st.integers(1, 10**15))
def test_a_declared_weight_is_never_rounded_up(mass):
    ounces, _, grams = net_weight_text(mass).partition(" oz (")
    assert round(float(ounces) * 100) * OUNCE_NG <= mass * 100
    assert round(float(grams.removesuffix(" g)")) * 10) * G <= mass * 10


def test_declared_weights_of_round_numbers():
    assert net_weight_text(100 * G) == "3.52 oz (100 g)"
    assert net_weight_text(4 * OUNCE_NG) == "4.00 oz (113.3 g)"
