"""The letter of a quote: inside its pages, the same each time, whatever people write."""

import pytest

from costing.services.quotes.letter import TEMPLATE
from studio.foundation.paper.rendering import UNPRINTABLE, render_pdf
from tests.studio.foundation.paper.reading import (
    pages_of,
    sizes_of,
    text_of,
    words_of,
    words_outside,
    words_overlapping,
)

PAPERS = {"a4": (595, 842), "us-letter": (612, 792)}
LINE = {
    "position": "1",
    "product": "Plain olive bar",
    "quantity": "96",
    "price": "$4.15",
    "bars_per_carton": "24",
    "carton": "$99.60",
    "gross": "$398.40",
    "ready": "4 cartons; ready March 30, 2026",
}


def values(lines=3, **other):
    return {
        "studio": "Juniper Yard Soap (invented)",
        "studio_address": ["4 Tannery Row", "Oldtown 12345"],
        "quote": "Q-00007",
        "heading": "Quote Q-00007",
        "day": [2026, 3, 2],
        "date": "March 2, 2026",
        "customer": "The Corner Shop",
        "to": ["The Corner Shop", "Alex Example", "1 Mill Lane"],
        "facts": [["Date", "March 2, 2026"], ["Valid until", "April 1, 2026"]],
        "salutation": "Dear Alex Example,",
        "opening": "We are glad to offer you:",
        "lines": [{**LINE, "position": str(n + 1)} for n in range(lines)],
        "sums": [["Soap", "$1,195.20"], ["Tax of 8%", "$95.62"]],
        "total": ["Total", "$1,290.82"],
        "after_total": "",
        "closing": ["Payment is due within 14 days.", "Ready dates hold until April 1."],
        "greeting": "Kind regards,",
        **other,
    }


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("lines", [1, 3, 12, 40, 200])
def test_every_line_stands_inside_its_page(paper, lines):
    printed = render_pdf(TEMPLATE, values(lines), paper=paper)
    text = text_of(printed)
    assert sizes_of(printed) == {PAPERS[paper]}
    assert words_outside(printed) == [] and words_overlapping(printed) == []
    assert text.count("Plain olive bar") == text.count("$398.40") == lines
    pages = pages_of(printed)
    for number in range(1, pages + 1):
        assert f"page {number} of {pages}" in text
    words, _, _ = words_of(printed)
    last = [word.text for word in words if word.page == pages]
    assert "accept" in last and "signature" in last
    # each page but the first says whose quote it is, and its table has its heads
    assert text.count("Quote Q-00007, March 2, 2026") == pages - 1


@pytest.mark.parametrize("paper", PAPERS)
def test_the_same_values_are_the_same_file(paper):
    first, again = (render_pdf(TEMPLATE, values(), paper=paper) for _ in range(2))
    assert first == again
    assert render_pdf(TEMPLATE, values(2), paper=paper) != first


def test_long_and_odd_words_stay_inside_and_are_no_markup():
    printed = render_pdf(
        TEMPLATE,
        values(
            lines=1,
            to=["W" * 120, "#strong[x] *y* $z$", "\N{SNOWMAN}", *["line"] * 60],
            closing=["word " * 80, *["a line of the note"] * 200, "W" * 400],
            after_total="No tax is charged. " * 5,
            studio="Soap and sons " * 4,
        ),
    )
    text = text_of(printed)
    assert words_outside(printed) == [] and text.count("a line of the note") == 200
    assert "#strong[x] *y* $z$" in text and (UNPRINTABLE in text or "\N{SNOWMAN}" in text)


def test_without_address_and_sums_only_the_total_stands():
    text = text_of(render_pdf(TEMPLATE, values(studio_address=[], sums=[])))
    assert "Total" in text and "Soap (invented)" in text and "Tax of" not in text
