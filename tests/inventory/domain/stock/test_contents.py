"""Composition through levels, against balances of mass and published stoichiometry."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.alkalis import KOH_PER_NAOH, carbonate_as_naoh, naoh_of
from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.contents import (
    EMPTY,
    Part,
    measured,
    mix,
    of_leaf,
    react,
    steam_of,
)
from inventory.domain.stock.leaves import NONE, Leaf, Span

G = 10**9


def leaf(code, kind=Kind.ADDITIVE, **values):
    return Leaf(code=code, name=code.capitalize(), kind=kind, lot=f"L-{code}", **values)


def fat(code, value):
    return leaf(code, Kind.FAT, demand=Span.exactly(D(value)))


OLIVE = fat("olive", 190)
CLAY = leaf("clay", Kind.COLORANT)
NAOH = leaf("naoh", Kind.ALKALI, alkali="NaOH", purity=Span.exactly(D("0.98")))
KOH = leaf("koh", Kind.ALKALI, alkali="KOH", purity=Span(D("0.9"), D("0.9"), D(1)))
WATER = leaf("water", Kind.LIQUID, water_share=D(1))
SCENT = leaf("rose", Kind.FRAGRANCE, ifra_category9_max=D("0.02"))
ALL = (OLIVE, fat("coconut", 256), CLAY, NAOH, KOH, WATER, SCENT)

leaves = st.sampled_from(ALL)
masses = st.integers(1, 5_000 * G)
parts = st.lists(st.tuples(leaves, masses), min_size=1, max_size=6)


def of(some):
    return [Part(of_leaf(one), mass) for one, mass in some]


def close(one, other):
    assert one == pytest.approx(other, rel=D("1E-20"), abs=D("1E-20"))


def test_oil_and_clay_have_the_value_of_the_whole():
    # Balance of mass: 0.8 x 190 + 0.2 x 0.
    blend = mix(of([(OLIVE, 80), (CLAY, 20)]), out=100)
    assert blend.demand == Span.exactly(D(152))


def test_a_masterbatch_that_lost_water_is_as_strong_as_its_alkali_over_what_is_left():
    # 1,020 g of 98 % hold 999.6 g NaOH; over 1,920 g that is 52.06 % (evaporation: the solute is
    # the tie substance, as in any textbook of material balances).
    steam = steam_of(into=2000 * G, out=1920 * G, planned_loss=D(0), alkali=D("999.6") * G)
    assert steam == 80 * G
    lye = mix(of([(NAOH, 1020 * G), (WATER, 980 * G)]), out=1920 * G, steam=steam)
    assert round(lye.naoh.usual, 4) == D("0.5206")
    assert round(lye.water, 6) == D("0.46875")  # 900 g of 1,920 g


def test_dilution_follows_the_crossed_difference():
    # Pearson's square: 50 % to 30 % with water takes 30 parts of lye and 20 of water.
    strong = mix(
        of([(leaf("n", alkali="NaOH", purity=Span.exactly(D(1))), 50), (WATER, 50)]), out=100
    )
    weak = mix([Part(strong, 30), Part(of_leaf(WATER), 20)], out=50)
    assert weak.naoh.usual == D("0.3") and weak.water == D("0.7")


@given(parts, st.integers(1, 999))
def test_loss_of_the_whole_leaves_the_shares_as_they_are(some, permille):
    into = sum(mass for _, mass in some)
    whole = mix(of(some), out=into)
    less = mix(of(some), out=D(into) * permille / 1000)
    for name in ("naoh", "koh", "demand"):
        close(getattr(less, name).usual, getattr(whole, name).usual)
    close(less.water, whole.water)
    close(sum(less.leaves.values()), D(1))


@given(st.lists(parts, min_size=1, max_size=4), st.integers(0, 40))
def test_what_goes_in_is_in_what_comes_out_however_many_levels_lie_between(levels, lost):
    """Alkali and demand are conserved by mixing at once or one thing after the other, and steam
    takes none of them along."""
    flat = [one for level in levels for one in level]
    mixed, mass = EMPTY, D(0)
    for level in levels:
        into = mass + sum(each for _, each in level)
        steam = into * lost / 100
        mixed = mix([Part(mixed, mass), *of(level)], out=into - steam, steam=steam)
        mass = into - steam
    for name in ("naoh", "koh", "demand"):
        total = sum(getattr(of_leaf(one), name).usual * each for one, each in flat)
        close(getattr(mixed, name).usual * mass, total)
    assert {one for one, share in mixed.leaves.items() if share} == {one for one, _ in flat}


def test_lots_with_unlike_certificates_are_one_by_their_masses():
    """Rule of mixtures: 100 g of 184 and 300 g of 196 mg/g are 193; 90 and 98 % are 96 %."""
    oil = mix(of([(fat("one", 184), 100), (fat("other", 196), 300)]), out=400)
    assert oil.demand == Span.exactly(D(193))
    assert {one.lot: share for one, share in oil.leaves.items()} == {
        "L-one": D("0.25"),
        "L-other": D("0.75"),
    }
    weak = leaf("weak", Kind.ALKALI, alkali="NaOH", purity=Span.exactly(D("0.9")))
    alkali = mix(of([(weak, 100), (NAOH, 300)]), out=400)
    assert alkali.naoh == Span.exactly(D("0.96")) and alkali.alkali == "NaOH"


def test_a_lot_with_a_certificate_beside_one_without_is_sure_of_its_part_alone():
    # Half is 190 for certain, half from 184 to 196: the whole is from 187 to 193.
    unsure = leaf("unsure", Kind.FAT, demand=Span(D(184), D(190), D(196)))
    oil = mix(of([(OLIVE, 50), (unsure, 50)]), out=100)
    assert oil.demand == Span(D(187), D(190), D(193))
    alkali = mix(
        of([(KOH, 50), (leaf("k", alkali="KOH", purity=Span.exactly(D("0.9"))), 50)]), out=100
    )
    assert alkali.koh == Span(D("0.9"), D("0.9"), D("0.95")) and alkali.alkali == "KOH"


def test_two_alkalis_in_one_lye_stay_two():
    both = mix(of([(NAOH, 50), (KOH, 50), (WATER, 100)]), out=200)
    assert both.alkali == "NaOH and KOH"
    assert (both.naoh.usual, both.koh.usual) == (D("0.245"), D("0.225"))
    assert mix(of([(WATER, 5)]), out=5).alkali == ""


def test_what_came_to_nothing_holds_nothing():
    assert mix(of([(NAOH, 50)]), out=0) == EMPTY
    assert mix([], out=5).naoh == NONE


def test_what_was_measured_of_a_made_lot_goes_before_its_parts_one_by_one():
    blend = mix(of([(KOH, 50), (WATER, 50)]), out=100)
    lot = leaf("lye", Kind.INTERMEDIATE, alkali="KOH", ifra_category9_max=D("0.1"))
    found = measured(blend, Certificate(purity=D("0.44"), water_share=D("0.55")), lot)
    assert found.koh == Span.exactly(D("0.44")) and found.naoh == NONE
    assert found.water == D("0.55") and found.scents == {lot.scent: D(1)}
    assert measured(blend, NOT_CERTIFIED, leaf("plain", Kind.INTERMEDIATE)) == blend


def test_what_is_strained_out_gives_only_its_name():
    herbs = leaf("herbs", ifra_category9_max=D("0.01"), acid_naoh=D("0.1"))
    infused = mix([Part(of_leaf(OLIVE), 90), Part(of_leaf(herbs), 10, stays=False)], out=80)
    assert infused.demand == Span.exactly(D(190))
    assert infused.strained == {herbs} and not infused.scents and not infused.acid_naoh
    assert infused.leaves == {OLIVE: D(1)}
    again = mix([Part(infused, 50), Part(of_leaf(CLAY), 50)], out=100)
    assert again.strained == {herbs}


def test_a_fragrance_is_inside_what_it_was_blended_into():
    blend = mix(of([(SCENT, 10), (OLIVE, 90)]), out=100)
    soap = mix([Part(blend, 20), Part(of_leaf(OLIVE), 80)], out=100)
    assert soap.scents == {SCENT.scent: D("0.02")}


def test_a_fat_without_a_value_makes_the_whole_unknown_until_it_is_measured():
    unknown = leaf("butter", Kind.FAT, demand=None)
    blend = mix(of([(OLIVE, 50), (unknown, 50)]), out=100)
    assert blend.demand is None
    bare = leaf("blend", Kind.INTERMEDIATE)
    assert measured(blend, NOT_CERTIFIED, bare).demand is None
    titrated = Certificate(sv_mg_koh_g=D(186))
    known = leaf("blend", Kind.INTERMEDIATE, demand=Span.exactly(D(186)))
    assert measured(blend, titrated, known).demand == Span.exactly(D(186))


def test_a_measured_strength_goes_before_the_one_worked_out():
    lye = mix(of([(NAOH, 50), (WATER, 50)]), out=100)
    stored = leaf("lye", Kind.INTERMEDIATE, alkali="NaOH", purity=Span.exactly(D("0.47")))
    assert measured(lye, Certificate(purity=D("0.47")), stored).naoh == Span.exactly(D("0.47"))
    assert measured(lye, NOT_CERTIFIED, stored).naoh.usual == D("0.49")


def test_soap_keeps_only_the_alkali_that_found_no_fat():
    # 1 kg of 190 takes 190 g KOH or 135.45 g NaOH (ISO 3657 and the molar masses).
    need = D(190) / KOH_PER_NAOH
    pure = leaf("pure", Kind.ALKALI, alkali="NaOH", purity=Span.exactly(D(1)))
    for alkali, free in ((need - 10, 0), (need + 10, 10)):
        batter = react(mix(of([(OLIVE, 1000), (pure, alkali)]), out=1000 + alkali))
        close(batter.naoh.usual * (1000 + alkali), D(free))
        assert batter.demand == NONE and not batter.leaves
        assert set(batter.reacted) == {OLIVE, pure}


@given(parts, masses)
def test_steam_is_never_more_than_what_is_no_alkali(some, out):
    into = sum(mass for _, mass in some)
    pure = sum((of_leaf(one).naoh.usual + of_leaf(one).koh.usual) * mass for one, mass in some)
    steam = steam_of(into=into, out=out, planned_loss=D("0.02"), alkali=pure)
    assert 0 <= steam <= max(into - out, 0)
    mixed = mix(of(some), out=out, steam=steam)
    assert mixed.naoh.usual + mixed.koh.usual <= 1 + D("1E-20")
    if not pure:
        assert not steam


def test_the_bases_take_what_their_moles_say():
    # 2 NaOH + CO2 -> Na2CO3 + H2O: 105.9885 g of soda ash stand for 79.9942 g NaOH.
    assert round(carbonate_as_naoh("Soda ash"), 4) == D("0.7547")
    assert round(carbonate_as_naoh("Aqua, Sodium Bicarbonate"), 4) == D("0.4761")
    assert not carbonate_as_naoh("Sodium Chloride")
    assert naoh_of("NaOH") == 1 and round(naoh_of("Ca(OH)2"), 4) == D("1.0796")
    assert round(naoh_of("LiOH and NaOH"), 3) == D("1.670")
