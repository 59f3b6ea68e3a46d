"""Plans: linear where they should be, needs that are the sum of their lines, full molds."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.materials import Material
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import BarsTarget, BatterTarget, FatTarget, VolumeTarget
from recipes.domain.molds.molds import bars, fill_volume_nl
from recipes.errors import LyeHeavy, ScalingRefusal
from recipes.models.formulas.formulas import Formula, FormulaLine, FormulaVersion
from recipes.models.molds.molds import Mold
from recipes.queries.formulas.formulas import loaded_from
from recipes.queries.molds.molds import cut_of
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.scaling.planning import Asked, wish_from
from tests.inventory.making import KG

G = KG // 1000
MG = G // 1000
EXAMPLES = settings(max_examples=60)


def material(pk, kind=Kind.FAT, **values):
    code = f"m{pk}"
    values.setdefault("density_g_ml", Decimal("0.91"))
    values.setdefault("density_temperature_c", Decimal(20))
    return Material(pk=pk, code=code, name=code, kind=kind.value, **values)


def fat(pk, sv):
    return material(pk, sv_mg_koh_g=sv, sv_low_mg_koh_g=sv - 5)


NAOH = material(90, Kind.ALKALI, alkali="NaOH", purity=Decimal("0.99"))
WATER = material(91, Kind.LIQUID, water_share=Decimal(1), density_g_ml=Decimal(1))
CLAY = material(92, Kind.ADDITIVE)
BOX = material(93, Kind.PACKAGING, counted=True)
EGG = material(
    94, Kind.LIQUID, counted=True, piece_mass=50 * G, water_share=Decimal("0.76"),
    fat_share=Decimal("0.1"),
)  # fmt: skip
OLIVE, COCONUT = fat(1, Decimal(190)), fat(2, Decimal(256))


def loaded(lines=None, **version):
    values = {
        "naoh": NAOH,
        "water": WATER,
        "superfat": Decimal("0.05"),
        "lye_concentration": Decimal("0.33"),
        "pour_temperature_c": Decimal(40),
        "pot_loss_share": Decimal(0),
        "cure_loss_share": Decimal(0),
        "koh_share": Decimal(0),
        "resolution": MG,
        **version,
    }
    formula = Formula(code="plain", name="Plain", kind="soap")
    row = FormulaVersion(formula=formula, number=1, **values)
    lines = lines or [
        (OLIVE, Basis.SHARE_OF_FATS, "0.7", Stage.FATS),
        (COCONUT, Basis.SHARE_OF_FATS, "0.3", Stage.FATS),
        (CLAY, Basis.OF_FATS, "0.02", Stage.TRACE),
        (CLAY, Basis.OF_BATTER, "0.01", Stage.TOP),
        (BOX, Basis.PER_BAR, "1", Stage.PACK),
    ]
    rows = [
        FormulaLine(
            position=position,
            material=what,
            basis=basis.value,
            amount=Decimal(amount),
            stage=stage.value,
        )
        for position, (what, basis, amount, stage) in enumerate(lines)
    ]
    return loaded_from(row, rows)


def amounts(plan):
    return {(line.part, line.position): line.amount for line in plan.lines}


@EXAMPLES
@given(fats=st.integers(100, 5_000), factor=st.integers(2, 50))
def test_scaling_is_linear_within_the_scales_step(fats, factor):
    one = amounts(make_plan(loaded(), Wish(target=FatTarget(fats * G), bars=8)))
    many = amounts(make_plan(loaded(), Wish(target=FatTarget(fats * factor * G), bars=8 * factor)))
    assert one.keys() == many.keys()
    for key, amount in one.items():
        # half a step here, half a step times the factor there; water follows rounded alkali 2:1
        assert abs(many[key] - amount * factor) <= 3 * MG * (factor + 1), key


@EXAMPLES
@given(fats=st.integers(100, 20_000), step=st.sampled_from([MG, G // 10, G, 5 * G]))
def test_needs_are_the_sum_of_the_lines_and_weights_are_steps(fats, step):
    plan = make_plan(loaded(resolution=step), Wish(target=FatTarget(fats * G), bars=7))
    for pk, need in plan.needs.items():
        assert need == sum(line.amount for line in plan.lines if line.material.pk == pk)
    assert sum(plan.needs.values()) == sum(line.amount for line in plan.lines)
    assert set(plan.needs) == set(plan.materials)
    weighed = [line for line in plan.lines if not line.material.counted]
    assert all(line.amount > 0 for line in weighed)
    # What the scale cannot show, less than half a step, stays exact instead of being dropped.
    assert all(line.amount % step == 0 or 2 * line.amount < step for line in weighed)
    assert plan.safety.superfat >= 0


@st.composite
def molds(draw):
    length = st.integers(60, 400)
    values = {"length": draw(length), "width": draw(length), "depth": draw(length)}
    shape = draw(st.sampled_from(["rectangular", "tapered", "cylinder", "lying-cylinder"]))
    if shape == "tapered":
        values |= {"top_length": draw(length), "top_width": draw(length)}
    if shape.endswith("cylinder"):
        values = {"diameter": draw(length), "depth": draw(length), "length": draw(length)}
    depth = values["diameter"] if shape == "lying-cylinder" else values["depth"]
    sizes = {name: mm * 10**6 for name, mm in values.items()}
    return Mold(
        code="m",
        name="M",
        shape=shape,
        fill_height=draw(st.none() | st.integers(depth // 2, depth).map(lambda mm: mm * 10**6)),
        cavities=draw(st.integers(1, 4)),
        rows=draw(st.integers(1, 12)),
        **sizes,
    )


@EXAMPLES
@given(mold=molds(), step=st.sampled_from([MG, G]), loss=st.sampled_from(["0", "0.02"]))
def test_the_plan_of_a_mold_fills_it_within_the_scales_rounding(mold, step, loss):
    recipe = loaded(resolution=step, pot_loss_share=Decimal(loss))
    plan = make_plan(recipe, Wish(mold=mold))
    wanted = fill_volume_nl(cut_of(mold).mold, mold.fill_height)
    poured = plan.scaled.batter_volume_nl * (1 - Decimal(loss))
    # six weighed lines, each half a step off, the water up to twice the alkali's; ~1 mL a gram
    assert abs(poured - wanted) <= 6 * step // 1000 + 10
    assert plan.bars == bars(cut_of(mold))
    assert plan.wish.mold is mold


@EXAMPLES
@given(count=st.integers(1, 400), weight=st.integers(40, 300))
def test_bars_by_weight_give_their_batter(count, weight):
    plan = make_plan(loaded(), Wish(target=BarsTarget(count, weight * G)))
    assert plan.bars == count and plan.bar_weight_ng == weight * G
    assert abs(plan.output_ng - count * weight * G) <= 6 * MG
    assert plan.needs[BOX.pk] == count


def test_a_fill_height_goes_before_the_molds_own():
    mold = Mold(
        code="m", name="M", shape="rectangular", length=200 * 10**6, width=70 * 10**6,
        depth=60 * 10**6, fill_height=50 * 10**6, rows=8,
    )  # fmt: skip
    own = make_plan(loaded(), Wish(mold=mold))
    lower = make_plan(loaded(), Wish(mold=mold, fill_height_nm=25 * 10**6))
    assert abs(own.scaled.batter_volume_nl - 2 * lower.scaled.batter_volume_nl) < 10**4
    for height in (0, 61 * 10**6):
        with pytest.raises(ScalingRefusal) as refused:
            make_plan(loaded(), Wish(mold=mold, fill_height_nm=height))
        assert [fault.field for fault in refused.value.faults] == ["fill_height"]


def test_one_whole_egg_for_each_500_g_of_fats():
    """Common practice, no source: 3 eggs at 1,500 g."""
    lines = [
        (OLIVE, Basis.SHARE_OF_FATS, "1", Stage.FATS),
        (EGG, Basis.PIECE_PER_FATS, "500", Stage.TRACE),
    ]
    plan = make_plan(loaded(lines), Wish(target=FatTarget(1500 * G)))
    assert plan.needs[EGG.pk] == 3
    assert plan.scaled.extra_superfat == Decimal("0.01")


def test_a_volume_is_asked_for_without_a_mold():
    plan = make_plan(loaded(), wish_from(Asked(volume_nl=10**9)))
    assert plan.target == VolumeTarget(10**9)
    assert abs(plan.scaled.batter_volume_nl - 10**9) <= 10**4


def test_what_cannot_be_planned():
    with pytest.raises(ScalingRefusal):
        make_plan(loaded(), Wish())
    with pytest.raises(ScalingRefusal):
        make_plan(loaded(), Wish(target=FatTarget(0)))
    with pytest.raises(ScalingRefusal):
        make_plan(loaded(resolution=KG), Wish(target=BatterTarget(100 * G)))


def test_a_plan_is_never_lye_heavy_even_without_superfat():
    recipe = loaded(superfat=Decimal(0), resolution=10 * G)
    for fats in range(1_000, 1_050, 7):
        plan = make_plan(recipe, Wish(target=FatTarget(fats * G)))
        assert plan.safety.superfat >= 0
    heavy = replace(plan.scaled, naoh_ng=plan.scaled.naoh_ng + 20 * G)
    from recipes.domain.chemistry.safety import recheck

    with pytest.raises(LyeHeavy):
        recheck(heavy)
