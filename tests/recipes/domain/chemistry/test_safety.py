"""What is refused because it would hurt somebody, with the lots' own values and weights."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.contents import Contents, Part, mix
from inventory.domain.stock.leaves import Span
from recipes.domain.bench.cautions import LYE_CAUTIONS, MASTERBATCH_CAUTIONS, cautions_for
from recipes.domain.chemistry.inside import inside_of, of_slot
from recipes.domain.chemistry.safety import LotTake, LotValues, evaluate, recheck
from recipes.domain.formulas.formula import Basis, Line, Purest, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scaling.scaling import scale
from recipes.errors import (
    FragranceOverMaximum,
    FragranceWithoutCertificate,
    LyeHeavy,
    SafetyRefusal,
)
from tests.recipes.domain.formulas.formulas import (
    CLAY,
    KG,
    OLIVE,
    SCENT,
    USUAL_ALKALI,
    G,
    formula,
    growing_formulas,
    share,
    thousandths,
)

MG = 10**6
OLIVE_ONLY = formula(fats=(share(OLIVE, "1"),))


def fat_take(mass, value):
    return LotTake(mass, Contents(demand=Span.exactly(D(value))))


def naoh_take(mass, purity):
    return LotTake(mass, of_slot("naoh", usual=D(purity)))


def scent_take(mass, maximum):
    return LotTake(mass, inside_of(replace(SCENT, ifra_category9_max_share=D(maximum))))


def scented(load, maximum="0.05", **settings):
    scent = replace(SCENT, ifra_category9_max_share=None if maximum is None else D(maximum))
    return formula(Line(scent, Basis.OF_FATS, Stage.TRACE, D(load)), **settings)


@given(growing_formulas, st.integers(200 * G, 20 * KG))
def test_as_planned_the_recheck_finds_what_the_plan_said(recipe, fats):
    batch = scale(recipe, FatTarget(fats), resolution=MG)
    check = evaluate(batch)
    assert check.superfat == batch.superfat
    assert (check.batter_ng, check.finished_ng) == (batch.batter_ng, batch.finished_ng)


@given(
    st.lists(st.tuples(st.integers(G, KG), st.decimals("184", "196", places=3)), min_size=1),
)
def test_several_lots_weigh_in_by_their_mass(picks):
    batch = scale(OLIVE_ONLY, FatTarget(10 * KG), resolution=1)
    takes = [fat_take(mass, value) for mass, value in picks]
    total = sum(mass for mass, _ in picks)
    mean = sum(mass * value for mass, value in picks) / total
    naoh = [LotTake(batch.naoh_ng * total // (10 * KG))]
    check = evaluate(batch, LotValues(lines={0: takes}, naoh=naoh))
    assert check.superfat == pytest.approx(1 - D("0.95") * 190 / mean, abs=D("0.00001"))


def test_lots_at_the_low_end_can_turn_a_sound_plan_lye_heavy():
    lean = replace(USUAL_ALKALI, superfat=D("0.02"))
    batch = scale(replace(OLIVE_ONLY, alkali=lean), FatTarget(KG), resolution=MG)
    recheck(batch)
    low = LotValues(lines={0: [fat_take(KG, "184")]})
    with pytest.raises(LyeHeavy, match=r"-1\.\d+ %"):
        recheck(batch, low)


def test_purer_alkali_than_planned_counts():
    poor = replace(USUAL_ALKALI, naoh_purity=D("0.94"), superfat=D("0.05"))
    batch = scale(replace(OLIVE_ONLY, alkali=poor), FatTarget(KG))
    with pytest.raises(LyeHeavy):
        recheck(batch, LotValues(naoh=[naoh_take(batch.naoh_ng, "1")]))


def test_a_stronger_masterbatch_than_planned_counts():
    stored = replace(USUAL_ALKALI, masterbatch_strength=D("0.45"))
    batch = scale(replace(OLIVE_ONLY, alkali=stored), FatTarget(KG))
    with pytest.raises(LyeHeavy):
        recheck(batch, LotValues(masterbatch=[naoh_take(batch.masterbatch_ng, "0.5")]))


def test_fat_that_was_short_at_the_pour_is_found():
    batch = scale(OLIVE_ONLY, FatTarget(KG))
    recheck(batch, LotValues(lines={0: [LotTake(960 * G)]}))
    with pytest.raises(LyeHeavy):
        recheck(batch, LotValues(lines={0: [LotTake(940 * G)]}))


def test_the_sign_of_the_superfat_is_exact():
    batch = scale(
        replace(OLIVE_ONLY, alkali=replace(USUAL_ALKALI, superfat=D(0))),
        FatTarget(KG),
        resolution=1,
    )
    assert recheck(batch).superfat == 0
    with pytest.raises(LyeHeavy):
        recheck(batch, LotValues(naoh=[LotTake(batch.naoh_ng + 1)]))


def test_a_fragrance_over_its_certified_maximum_is_refused_with_the_numbers():
    with pytest.raises(FragranceOverMaximum, match=r"2\.\d+ % .* allows 1\.49 %"):
        recheck(scale(scented("0.04", "0.0149"), FatTarget(KG)))
    shown = evaluate(scale(scented("0.04", "0.0149"), FatTarget(KG)))
    assert [share.is_over for share in shown.fragrances] == [True]


def test_drying_makes_the_same_fragrance_a_larger_share():
    # 40 g in 1 kg of fats, about 1.43 kg of batter: 2.8 % fresh, 3.3 % after losing 15 %
    recheck(scale(scented("0.04", "0.03"), FatTarget(KG)))
    with pytest.raises(FragranceOverMaximum):
        recheck(scale(scented("0.04", "0.03", cure_loss_share=D("0.15")), FatTarget(KG)))


def test_the_lots_certificate_counts_before_the_materials():
    batch = scale(scented("0.04", "0.0149"), FatTarget(KG))
    generous = scent_take(40 * G, "0.1446")
    check = recheck(batch, LotValues(lines={4: [generous]}))
    assert check.fragrances[0].maximum == D("0.1446") and not check.fragrances[0].is_over
    strict = scent_take(1 * G, "0.02")
    with pytest.raises(FragranceOverMaximum, match="allows 2 %"):
        recheck(batch, LotValues(lines={4: [generous, strict]}))


def test_a_fragrance_without_certificate_is_refused():
    with pytest.raises(FragranceWithoutCertificate, match="certificate"):
        recheck(scale(scented("0.01", None), FatTarget(KG)))


def test_whatever_has_a_certified_maximum_is_held_to_it():
    perfumed = replace(CLAY, ifra_category9_max_share=D("0.01"))
    recipe = formula(Line(perfumed, Basis.OF_FATS, Stage.TRACE, D("0.02")))
    with pytest.raises(FragranceOverMaximum):
        recheck(scale(recipe, FatTarget(KG)))


def test_all_dangers_are_told_at_once():
    batch = scale(scented("0.04", "0.0149"), FatTarget(KG))
    with pytest.raises(SafetyRefusal) as refused:
        recheck(batch, LotValues(naoh=[LotTake(batch.naoh_ng * 2)]))
    assert {fault.code for fault in refused.value.faults} == {
        "lye-heavy",
        "fragrance-over-maximum",
    }


@given(
    st.lists(thousandths(1, 20), min_size=2, max_size=5),
    st.lists(st.sampled_from((Stage.TRACE, Stage.FATS, Stage.TOP)), min_size=5, max_size=5),
    thousandths(5, 60),
)
def test_a_fragrance_is_judged_by_the_sum_over_its_lines(loads, stages, maximum):
    """However it is written down: each part as its own line, the least maximum of all lots."""
    scent = replace(SCENT, ifra_category9_max_share=maximum)
    lines = [
        Line(scent, Basis.OF_FATS, stage, load) for load, stage in zip(loads, stages, strict=False)
    ]
    batch = scale(formula(*lines), FatTarget(KG), resolution=1)
    check = evaluate(batch)
    total = sum(scaled.rounded_ng for scaled in batch.lines[4:])
    assert [each.position for each in check.fragrances] == [4]
    assert check.fragrances[0].share == pytest.approx(total / D(check.finished_ng), abs=D("1E-9"))
    assert check.fragrances[0].is_over == (check.fragrances[0].share > maximum)
    assert not check.notices
    if check.fragrances[0].is_over:
        with pytest.raises(FragranceOverMaximum):
            recheck(batch)


def test_four_percent_in_two_lines_of_two_is_four_percent():
    half = scented("0.02", "0.02").lines[-1]
    recheck(scale(formula(half), FatTarget(KG)))
    with pytest.raises(FragranceOverMaximum) as refused:
        recheck(scale(formula(half, half), FatTarget(KG)))
    assert [fault.field for fault in refused.value.faults] == ["lines.4"]


def test_two_fragrances_that_only_together_pass_their_maxima_are_noticed():
    scent = Line(
        replace(SCENT, ifra_category9_max_share=D("0.02")), Basis.OF_FATS, Stage.TRACE, D("0.02")
    )
    other = replace(scent, ingredient=replace(scent.ingredient, code="rose", name="Rose"))
    check = recheck(scale(formula(scent, other), FatTarget(KG)))
    assert [notice.code for notice in check.notices] == ["fragrances-add-up"]


def test_negative_weights_are_refused():
    with pytest.raises(SafetyRefusal):
        LotTake(-1)


def test_the_trades_cautions_are_all_there():
    text = " ".join(caution.text for caution in LYE_CAUTIONS).lower()
    for word in (
        "goggles", "gloves", "long sleeves", "lye to the water", "never pour water onto lye",
        "air is moving", "heat-proof", "children and animals", "rinse", "medical help",
        "local codes and licensed practice come first",
    ):  # fmt: skip
        assert word in text
    assert cautions_for(masterbatch=False) == LYE_CAUTIONS
    assert set(MASTERBATCH_CAUTIONS) < set(cautions_for(masterbatch=True))


# What is inside


LYE = of_slot("naoh", usual=D("0.5"))


@given(st.sampled_from((0, 1, 2, 3)), st.integers(1, 40))
def test_alkali_counts_whatever_it_is_taken_as(position, grams_of_it):
    """Stored lye in any line, or as the water: always what the same alkali does in its own slot."""
    batch = scale(formula(), FatTarget(KG), resolution=1)
    mass = grams_of_it * G
    more = batch.naoh_ng + mass // 2
    plain = evaluate(batch, LotValues(naoh=[LotTake(more)])).superfat
    as_water = LotValues(water=[LotTake(batch.extra_water_ng - mass), LotTake(mass, LYE)])
    line = batch.lines[position]
    as_line = LotValues(lines={position: [LotTake(line.rounded_ng), LotTake(mass, LYE)]})
    for values in (as_water, as_line):
        assert abs(evaluate(batch, values).superfat - plain) <= D("0.000001")


def test_stored_lye_as_an_ordinary_line_is_refused():
    soda = Line(replace(CLAY, code="soda", alkali="NaOH"), Basis.OF_FATS, Stage.TRACE, D("0.05"))
    batch = scale(formula(Line(CLAY, Basis.OF_FATS, Stage.TRACE, D("0.05"))), FatTarget(KG))
    lines = (*batch.lines[:-1], replace(batch.lines[-1], line=soda))
    with pytest.raises(LyeHeavy, match=r"-28\.45 %"):
        recheck(replace(batch, lines=lines))


def test_fat_and_clay_saponify_as_the_whole_does():
    # 80 % olive of 190 with 20 % clay is 152 mg KOH/g: lye for 190 would be 25 % too much.
    clay = replace(CLAY, sv_mg_koh_g=None)
    whole = mix([Part(inside_of(OLIVE), 80), Part(inside_of(clay), 20)], out=100)
    assert whole.demand.usual == D(152)
    batch = scale(OLIVE_ONLY, FatTarget(KG), resolution=1)
    check = evaluate(batch, LotValues(lines={0: [LotTake(KG, whole)]}))
    assert check.superfat == pytest.approx(1 - D("0.95") * 190 / 152, abs=D("0.00001"))
    made = replace(OLIVE, code="blend", sv_mg_koh_g=D(152), sv_low=D(147), inside=whole)
    assert recheck(scale(formula(fats=(share(made, "1"),)), FatTarget(KG)))


@given(st.lists(thousandths(5, 60), min_size=1, max_size=4), thousandths(5, 40))
def test_a_fragrance_counts_through_blends_and_lots(parts, maximum):
    """The maximum is one of the finished product (IFRA): so much as itself, or inside, is one."""
    scent = inside_of(replace(SCENT, ifra_category9_max_share=maximum))
    batch = scale(formula(Line(CLAY, Basis.OF_FATS, Stage.TRACE, D("0.1"))), FatTarget(KG))
    mass = batch.lines[4].rounded_ng
    each = mass // len(parts)
    takes = [
        LotTake(each, mix([Part(scent, part), Part(inside_of(OLIVE), 1 - part)], out=1))
        for part in parts
    ]
    takes.append(LotTake(mass - each * len(parts)))
    check = evaluate(batch, LotValues(lines={4: takes}))
    inside = sum(each * part for part in parts)
    (found,) = check.fragrances
    assert found.code == SCENT.code and found.position == 4 and found.maximum == maximum
    assert found.share == pytest.approx(inside / D(check.finished_ng), abs=D("1E-9"))


def test_the_worst_superfat_takes_the_lowest_fats_and_the_purest_alkali():
    alkali = replace(USUAL_ALKALI, naoh_purity=D("0.98"), purest=Purest(naoh=D(1)))
    batch = scale(replace(OLIVE_ONLY, alkali=alkali), FatTarget(KG), resolution=1)
    low = OLIVE.sv_low or OLIVE.sv_mg_koh_g
    expected = 1 - D("0.95") * OLIVE.sv_mg_koh_g / low / D("0.98")
    assert batch.worst_superfat == pytest.approx(expected, abs=D("0.00001"))
    assert evaluate(batch).worst == batch.worst_superfat
    certified = LotValues(lines={0: [fat_take(KG, "190")]}, naoh=[naoh_take(batch.naoh_ng, "0.98")])
    check = evaluate(batch, certified)
    assert check.worst == check.superfat


def test_carbonate_takes_acid_and_no_neutral_fat():
    """Na2CO3 + 2 HA: 10.6 g of soda ash take as much acid as 8 g NaOH (molar masses)."""
    ash = replace(CLAY, code="ash", name="Soda ash", carbonate_naoh_g_per_g=D("0.75475"))
    acid = replace(CLAY, code="acid", name="Acid", acid_naoh_g_per_g=D("0.5"))

    def of(*some):
        lines = [Line(one, Basis.OF_FATS, Stage.TRACE, D("0.02")) for one in some]
        return scale(formula(*lines), FatTarget(KG), resolution=1)

    plain, ashen, both, sour = of(), of(ash), of(ash, acid), of(acid)
    assert ashen.naoh_ng == plain.naoh_ng  # there is no acid for it
    assert both.naoh_ng == plain.naoh_ng < sour.naoh_ng  # it takes all that the acid would
    assert "carbonate" in [notice.code for notice in ashen.notices]
    assert ashen.worst_superfat < plain.worst_superfat
    for batch in (plain, ashen, both, sour):
        assert evaluate(batch).superfat == batch.superfat
        assert evaluate(batch).worst == batch.worst_superfat


def test_lots_that_move_the_superfat_by_more_than_a_point_are_told():
    # 49 % instead of 50 %: 0.95 x 0.98 leaves 6.9 % open (balance of mass).
    stored = replace(USUAL_ALKALI, masterbatch_strength=D("0.5"))
    batch = scale(replace(OLIVE_ONLY, alkali=stored), FatTarget(KG), resolution=1)

    def told(strength):
        takes = [naoh_take(batch.masterbatch_ng, strength)]
        return [notice.code for notice in evaluate(batch, LotValues(masterbatch=takes)).notices]

    assert told("0.49") == ["superfat-moved"]
    assert told("0.497") == told("0.5") == []


def test_a_superfat_that_moved_leads_to_the_lots_only_where_all_weighs_as_planned():
    batch = scale(OLIVE_ONLY, FatTarget(KG), resolution=1)

    def told(**values):
        return [notice.message for notice in evaluate(batch, LotValues(**values)).notices]

    lots = ". Set the lye on the lots, or take others."
    (weaker,) = told(naoh=[naoh_take(batch.naoh_ng, "0.9")])
    assert weaker.endswith("than the recipe's materials" + lots)
    for values in (
        {"naoh": [LotTake(batch.naoh_ng * 95 // 100)]},
        {"lines": {0: [fat_take(KG * 105 // 100, "190")]}},
        {"lines": {0: [fat_take(KG * 105 // 100, "190")]}, "naoh": [LotTake(batch.naoh_ng)]},
    ):
        (otherwise,) = told(**values)
        assert "or something was weighed otherwise" in otherwise and lots not in otherwise


def test_a_fragrance_that_the_lye_brings_is_told_of_the_lye_and_of_no_line():
    batch = scale(formula(), FatTarget(KG))
    lot = mix([Part(inside_of(SCENT), D("0.5")), Part(LYE, D("0.5"))], out=1)
    values = LotValues(water=[LotTake(batch.extra_water_ng - 2 * G), LotTake(2 * G, lot)])
    (found,) = evaluate(batch, values).fragrances
    assert found.position is None
    strict = inside_of(replace(SCENT, ifra_category9_max_share=D("0.00001")))
    over = LotValues(water=[LotTake(batch.extra_water_ng - G), LotTake(G, strict)])
    with pytest.raises(FragranceOverMaximum) as refused:
        recheck(batch, over)
    assert [fault.field for fault in refused.value.faults] == ["lye"]
