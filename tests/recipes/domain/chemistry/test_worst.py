"""When the worst superfat wants to be accepted, and what makes it so low."""

from decimal import ROUND_FLOOR
from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.leaves import NONE, Span
from recipes.domain.chemistry.worst import covers, floored, is_blank, needs_acceptance, unsure_of

superfats = st.decimals(D("-0.3"), D("0.3"), places=6)
accepted = st.none() | superfats.filter(lambda figure: figure < 0)


@given(superfats)
def test_a_figure_is_no_higher_than_the_superfat_and_less_than_a_tenth_of_a_percent_below(worst):
    assert 0 <= worst - floored(worst) < D("0.001")
    assert floored(worst) % D("0.001") == 0


@given(superfats, accepted)
def test_zero_or_more_is_never_asked_about(worst, figure):
    assert not needs_acceptance(abs(worst), figure)


@given(superfats.filter(lambda worst: worst < 0))
def test_below_zero_is_asked_about_until_it_is_accepted(worst):
    assert needs_acceptance(worst, None)
    assert not needs_acceptance(worst, floored(worst))


@given(superfats, superfats)
def test_what_is_no_worse_is_not_asked_about_again(first, second):
    worse, better = sorted((first, second))
    assert not needs_acceptance(better, floored(worse))
    asked = needs_acceptance(worse, floored(better))
    lower = worse.quantize(D("0.001"), ROUND_FLOOR) < better.quantize(D("0.001"), ROUND_FLOOR)
    assert asked == (worse < 0 and lower)


@given(superfats, superfats)
def test_whoever_accepts_more_accepts_less(worst, figure):
    assert covers(figure, worst) == (floored(worst) >= floored(figure))
    assert not covers(None, worst)


@given(superfats, superfats)
def test_a_figure_of_more_than_a_point_below_accepts_nothing_in_particular(worst, figure):
    assert is_blank(figure, worst) == (floored(worst) - figure > D("0.01"))
    assert not is_blank(floored(worst), worst)
    assert not is_blank(None, worst)


def test_the_last_gram_of_a_scale_does_not_ask_again():
    assert not needs_acceptance(D("-0.008999"), floored(D("-0.008316")))
    assert needs_acceptance(D("-0.009001"), floored(D("-0.008316")))


KNOWN = Span.exactly(D("0.98"))


def test_only_what_has_a_range_is_named_and_each_once():
    pure = Span(D("0.98"), D("0.98"), D(1))
    low, exact = Span(D(184), D(190), D(196)), Span.exactly(D(190))
    told = unsure_of(
        [("NaOH", pure), ("NaOH", pure), ("KOH", KNOWN), ("Water", NONE)],
        [("Olive oil", low), ("Olive oil", low), ("Lard", exact), ("Coconut oil", low)],
        carbonate=False,
    )
    assert [words.partition(" without")[0] for words in told] == [
        "NaOH",
        "Olive oil and Coconut oil",
    ]
    three = unsure_of([], [(name, low) for name in "ABC"], carbonate=True)
    assert three[0].startswith("A, B and C ") and "carbonate" in three[1]
    assert unsure_of([("NaOH", KNOWN)], [("Lard", exact)], carbonate=False) == ()
