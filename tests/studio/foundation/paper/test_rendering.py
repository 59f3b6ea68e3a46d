"""What is printed is what was given: as data, whole, inside the page, on the paper asked for."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.errors import InvalidInput
from studio.foundation.paper.rendering import (
    UNPRINTABLE,
    covered,
    paper_named,
    printable,
    render_pdf,
    usual_paper,
)
from tests.studio.foundation.paper.reading import pages_of, sizes_of, text_of, words_outside

PROBE = Path(__file__).with_name("probe.typ")
#: Points of 1/72 inch: ISO 216 says 210 x 297 mm; letter is 8 1/2 x 11 in.
SIZES = {"a4": (595, 842), "us-letter": (612, 792)}


def printed(*lines: str, code: str = "B-1", paper: str = "a4", **values: object) -> bytes:
    return render_pdf(PROBE, {"lines": lines, "code": code, **values}, paper=paper)


@pytest.mark.parametrize("paper", SIZES)
def test_the_paper_asked_for_is_set(paper):
    assert sizes_of(printed("soap", paper=paper)) == {SIZES[paper]}


def test_papers_have_the_names_people_use():
    assert [paper_named(name) for name in ("a4", "A4", "letter", "us-letter")] == [
        "a4",
        "a4",
        "us-letter",
        "us-letter",
    ]
    with pytest.raises(InvalidInput):
        paper_named("a5")


@pytest.mark.parametrize(
    ("locale", "paper"), [("en_US", "us-letter"), ("fr-CA", "us-letter"), ("de_AT", "a4")]
)
def test_the_usual_paper_goes_by_the_place(settings, locale, paper):
    settings.STUDIO_LOCALE = locale
    assert usual_paper() == paper


def test_what_a_person_wrote_is_text_and_never_markup():
    hostile = '#panic("x") *bold* $ sys.inputs \\ // = @ref #import "/manage.py" <a>'
    assert hostile in text_of(printed(hostile))


def test_every_page_has_its_number_and_the_studios_name(settings):
    settings.STUDIO_NAME = "Invented & Sons"
    text = text_of(printed(*["a line"] * 100))
    count = pages_of(printed(*["a line"] * 100))
    assert count > 1
    assert all(f"page {page} of {count}" in text for page in range(1, count + 1))
    assert text.count("Invented & Sons") == count


@given(st.lists(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40))
@settings(max_examples=25)
def test_any_letters_are_set_and_unknown_ones_are_seen(letters):
    text = "".join(letters)
    assert len(printable(text)) >= len(text) - text.count("\N{SOFT HYPHEN}")
    printed(text)


def test_all_letters_said_to_be_covered_are_drawn():
    # The archive's standard refuses a page with a letter that no font draws.
    every = sorted(covered())
    printed(*[" ".join(map(chr, every[at : at + 30])) for at in range(0, len(every), 30)])


def test_letters_outside_the_fonts_are_replaced_by_a_sign():
    text = text_of(printed("oil 漢 of rose"))
    assert f"oil {UNPRINTABLE} of rose" in text


def test_longest_words_stay_on_the_page():
    assert words_outside(printed("W" * 400, "w i " * 400, code="C" * 60)) == []
