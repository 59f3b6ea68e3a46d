"""A measured value and the parts of a lot: what agrees is not asked, what does not is told.

By hand: 4 kg of NaOH of 98 % with 1 kg of water make 78.4 %.
"""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.catalog.unusual import PURITY_OF_PARTS, SAPONIFICATION_OF_PARTS
from inventory.domain.stock.contents import Contents
from inventory.domain.stock.contradictions import contradictions
from inventory.domain.stock.leaves import Span

shares = st.decimals("0.01", "1", places=4)
values = st.decimals("50", "400", places=1)


def of_parts(*, naoh=D(0), koh=D(0), demand=D(0)):
    known = None if demand is None else Span.exactly(demand)
    return Contents(naoh=Span.exactly(naoh), koh=Span.exactly(koh), demand=known)


@given(measured=shares, derived=shares, alkali=st.sampled_from(["NaOH", "KOH"]))
def test_a_strength_is_asked_about_beyond_a_twentieth_and_dangerous_where_weaker(
    measured, derived, alkali
):
    parts = of_parts(**{alkali.lower(): derived})
    found = contradictions(Certificate(purity=measured), parts, alkali="")
    assert bool(found) is not (D("0.95") * derived <= measured <= D("1.05") * derived)
    for each in found:
        assert (each.code, each.value, each.field) == (PURITY_OF_PARTS, measured, "purity")
        assert each.dangerous is (measured < derived)


@given(measured=values, derived=st.just(D(0)) | values)
def test_a_saponification_value_is_dangerous_where_it_is_higher(measured, derived):
    found = contradictions(Certificate(sv_mg_koh_g=measured), of_parts(demand=derived), alkali="")
    assert bool(found) is not (D("0.95") * derived <= measured <= D("1.05") * derived)
    for each in found:
        assert (each.code, each.field) == (SAPONIFICATION_OF_PARTS, "sv_mg_koh_g")
        assert each.dangerous is (measured > derived)


def test_both_figures_are_told():
    own = Certificate(purity=D("0.49"), sv_mg_koh_g=D(250))
    lye, oil = contradictions(own, of_parts(naoh=D("0.784"), demand=D(171)), alkali="NaOH")
    assert "49 %" in lye.words and "78.4 % NaOH" in lye.words
    assert "250 mg" in oil.words and "171 mg" in oil.words


def test_what_is_not_stated_or_cannot_be_derived_contradicts_nothing():
    assert not contradictions(NOT_CERTIFIED, of_parts(naoh=D("0.5")), alkali="NaOH")
    assert not contradictions(Certificate(sv_mg_koh_g=D(250)), of_parts(demand=None), alkali="")
    assert not contradictions(Certificate(purity=D("0.5")), of_parts(), alkali="")
    # What cannot be is refused as such.
    assert not contradictions(Certificate(purity=D(49)), of_parts(naoh=D("0.5")), alkali="NaOH")


def test_alkali_of_nothing_is_asked_about():
    (found,) = contradictions(Certificate(purity=D("0.5")), of_parts(), alkali="KOH")
    assert not found.dangerous
