"""Kinds of columns: what is written is read back, and what cannot be meant is refused in words."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.errors import InvalidInput, Refusal
from studio.foundation.money import MAX_MONEY
from studio.foundation.tables.cells import cell_text, restored
from studio.foundation.tables.kinds import (
    FIRST_DAY,
    LAST_DAY,
    Amount,
    Choice,
    Code,
    Day,
    Money,
    Number,
    Text,
    Whole,
    YesNo,
)
from studio.foundation.tables.listed import Listed, as_mapping
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount

SHARE = Number(places=6, unit="a share", percent=True)
PAIRS = Listed(first=Text(40), second=SHARE, example="Linalool 0.012; Limonene 0.003", none="none")
names = st.text(
    st.characters(codec="utf-8", exclude_characters="\r\n\x00"), min_size=1, max_size=40
)
VALUES = {
    Text(40): names,
    Code(): st.from_regex(r"[-a-zA-Z0-9_]{1,40}", fullmatch=True),
    Choice(("fat", "bar")): st.sampled_from(["fat", "bar"]),
    YesNo(): st.booleans(),
    SHARE: st.decimals(0, 1, places=6),
    Number(places=3, unit="", below_zero=True): st.decimals(-(10**9), 10**9, places=3),
    Whole(0, 730, "days"): st.integers(0, 730),
    Money("USD"): st.integers(0, MAX_MONEY),
    Money("JPY"): st.integers(0, MAX_MONEY),
    Day(): st.dates(FIRST_DAY, LAST_DAY),
}


@given(st.data(), st.sampled_from(list(VALUES)))
def test_what_is_written_is_read_back(data, kind):
    value = data.draw(VALUES[kind])
    assert kind.read(restored(cell_text(kind.write(value)))) == value


# A cell with a line end inside a name is not one of pairs.
@given(st.lists(st.tuples(names.filter(lambda n: n == n.strip()), st.decimals(0, 1, places=6))))
def test_pairs_are_read_back_whatever_their_names(pairs):
    written = restored(cell_text(PAIRS.write(tuple(pairs))))
    assert PAIRS.read(written) == tuple(pairs)


@given(st.integers(0, 10**17))
def test_amounts_are_exact(ng):
    kind = Amount((Dimension.MASS,), "1 lb")
    assert kind.read(f"{format_amount(ng, 'g')} g").base == ng


def test_amounts_are_read_as_people_write_them():
    kind = Amount((Dimension.MASS, Dimension.VOLUME), "7 lb 8 oz")
    # A pound is 453.592 37 g exactly: NIST Handbook 44, appendix C.
    assert kind.read("7 lb 8 oz").base == 7.5 * 453_592_370_000
    assert str(kind.read("1 gal")) == "1 gal"
    with pytest.raises(Refusal, match=r"write 1\.5"):
        kind.read("1,5 kg")


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        (SHARE, "0,05", "a point before decimals"),
        (SHARE, "1e-3", "without thousands signs"),
        (SHARE, "-0.1", "below zero"),
        (SHARE, "0.1234567", "at most 6 decimals"),
        (SHARE, "9" * 60, "longer than can be kept"),
        (SHARE, "٣", "a point before decimals"),
        (Whole(1, 10, ""), "1.5", "from 1 to 10"),
        (Whole(1, 10, ""), "11", "from 1 to 10"),
        (Money("USD"), "12,5", "Did you mean"),
        (Money("USD"), "$12", "only the number"),
        (Day(), "31/03/2026", "year-month-day"),
        (Day(), "2026-02-30", "year-month-day"),
        (Day(), "0026-02-03", "from 1900"),
        (YesNo(), "maybe", "yes or no"),
        (Choice(("fat", "bar")), "oil", "fat, bar"),
        (Code(), "olive oil", "no spaces"),
        (Code(), "é", "no spaces"),
        (Text(3), "four", "at most 3"),
        (PAIRS, "Linalool", "pair"),
        (PAIRS, '"Linalool 0.1', "Write pairs"),
        (PAIRS, "Linalool 0.1\nLimonene 0.2", "Write pairs"),
    ],
)
def test_refusals_say_what_would_be_right(kind, text, words):
    with pytest.raises(Refusal, match=words):
        kind.read(text)


def test_percent_and_case_are_understood():
    assert SHARE.read("5 %") == SHARE.read("0.05") == Decimal("0.05")
    assert Choice(("NaOH", "KOH")).read(" naoh ") == "NaOH"
    assert YesNo().read("TRUE") is True
    assert Money("USD").read("1,234.50") == 12_345_000
    assert PAIRS.read("none") == ()
    assert PAIRS.read("Linalool 1.2 %; Limonene 3%") == (
        ("Linalool", Decimal("0.012")),
        ("Limonene", Decimal("0.03")),
    )
    assert Day().read(" 2026-03-31 ") == date(2026, 3, 31)


def test_a_name_that_comes_twice_is_refused():
    with pytest.raises(InvalidInput, match="twice"):
        as_mapping([("C12:0", 1), ("C12:0", 2)])
