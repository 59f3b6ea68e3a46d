"""Recipes from tables: written whole, changed by a next version, and exact both ways."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.formula import Basis, Portion, Stage
from recipes.models.formulas.formulas import Formula, FormulaVersion
from recipes.queries.formulas.formulas import load_formula
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from tests.recipes.levels import make_levels
from tests.recipes.making import make_bench, next_version
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db
HEADS = "code,row,name,kind,naoh,water,superfat,lye_concentration,material,basis,amount,stage\n"
NEW = (
    HEADS + "bar,recipe,A bar,soap,naoh,water,5 %,0.33,,,,\n"
    "bar,line,,,,,,,olive,share-of-fats,70 %,\n"
    "bar,line,,,,,,,coconut,share-of-fats,0.3,fats\n"
)
versions = st.fixed_dictionaries(
    {
        "superfat": st.decimals(0, "0.2", places=6),
        "lye_concentration": st.decimals("0.25", "0.4", places=6),
        "cure_loss_share": st.decimals(0, "0.2", places=6),
        "cure_days": st.integers(0, 3650),
        "pour_temperature_c": st.decimals(20, 60, places=3),
        "rinse_share": st.none() | st.decimals(0, "0.5", places=6),
        "resolution": st.integers(1, 10**12),
        "minutes": st.none() | st.integers(0, 100_000),
        "note": st.sampled_from(["", "=1+1", "two\nlines", '"quoted"; and more']),
    }
)
names = st.text("plain green;,'=", min_size=1, max_size=12).filter(lambda n: n == n.strip())


@settings(max_examples=20)
@given(
    versions,
    st.lists(names, max_size=3, unique=True),
    st.integers(1, 999_999),
    st.sampled_from(["csv", "xlsx"]),
)
def test_recipes_come_back_as_they_were(version, named, olive, form):
    with undone():
        bench, by = make_bench(), person()
        parts = _shares(named)
        pour = Pour(
            tuple(Portion(name, share) for name, share in parts),
            tuple(Layer(name, Decimal(1), Place.LEFT, "=thin") for name, _ in parts),
        )
        amounts = {"olive": Decimal(olive).scaleb(-6), "coconut": 1 - Decimal(olive).scaleb(-6)}
        lines = [
            LineSpec(material=bench.materials[code], basis=Basis.SHARE_OF_FATS, amount=amount)
            for code, amount in amounts.items()
        ]
        spec = VersionSpec(
            lines=lines,
            naoh=bench.materials["naoh"],
            water=bench.materials["water"],
            pour=pour,
            **version,
        )
        next_version(bench.formula, spec)
        content = exported("recipes", by=by, form=form)
        before = exported("recipes", by=by)
        same = imported("recipes", content, by=by, mode="change")
        assert (same.state, same.changed, same.unchanged, same.faults) == ("done", 0, 1, [])
        empty_the_book()
        again = imported("recipes", content, by=by)
        assert (again.state, again.created, again.faults) == ("done", 1, [])
        assert exported("recipes", by=by) == before


def empty_the_book():
    Formula.objects.update(current=None, current_since=None)
    FormulaVersion.objects.all().delete(), Formula.objects.all().delete()


def _shares(named):
    """Shares of portions that sum to 1."""
    if not named:
        return []
    each = Decimal(1_000_000 // len(named)).scaleb(-6)
    return [(name, each) for name in named[1:]] + [(named[0], 1 - each * (len(named) - 1))]


def test_recipes_over_several_levels_come_back_too():
    make_levels()
    by = person()
    before = exported("recipes", by=by)
    same = imported("recipes", before, by=by, mode="change")
    assert (same.state, same.changed, same.unchanged) == ("done", 0, Formula.objects.count())
    empty_the_book()
    assert imported("recipes", before, by=by).state == "done"
    assert exported("recipes", by=by) == before


def test_a_recipe_is_taken_in_with_what_it_makes():
    make_bench()
    by = person()
    assert counted(imported("recipes", NEW, by=by)) == ("done", 1, 0, 0)
    loaded = load_formula(code="bar")
    assert (loaded.version.number, loaded.version.by) == (1, by)
    assert (loaded.version.superfat, loaded.version.cure_days) == (Decimal("0.05"), 0)
    assert [(row.material.code, row.amount) for row in loaded.rows] == [
        ("olive", Decimal("0.7")),
        ("coconut", Decimal("0.3")),
    ]
    formula = Formula.objects.get(code="bar")
    assert (formula.product.code, formula.batter.code) == ("bar-bar", "bar-batter")


def test_a_change_becomes_the_next_version_and_the_old_one_stays():
    make_bench()
    by = person()
    imported("recipes", NEW, by=by)
    changed = NEW.replace("5 %", "8 %").replace("A bar", "The bar")
    assert counted(imported("recipes", changed, by=by, mode="change")) == ("done", 0, 1, 0)
    versions = FormulaVersion.objects.filter(formula__code="bar").order_by("number")
    assert [version.superfat for version in versions] == [Decimal("0.05"), Decimal("0.08")]
    formula = Formula.objects.get(code="bar")
    assert (formula.name, formula.revision) == ("The bar", 2)
    assert formula.history.first().history_user == by
    assert counted(imported("recipes", changed, by=by, mode="change")) == ("done", 0, 0, 1)


def test_settings_of_columns_that_are_left_out_stay():
    bench = make_bench()
    content = (
        "code,row,superfat,material,basis,amount,stage\n"
        "plain,recipe,0.08,,,,\nplain,line,,olive,share-of-fats,1,\n"
    )
    assert imported("recipes", content, by=person(), mode="change").state == "done"
    trial = load_formula(code="plain", number=2).version
    assert trial.superfat == Decimal("0.08") and not trial.is_current
    assert (trial.minutes, trial.naoh) == (90, bench.materials["naoh"])
    # What goes out is the current one; taken in again, neither it nor the trial is written anew.
    same = exported("recipes", by=person())
    assert b"0.08" not in same
    for again in (same, content):
        assert counted(imported("recipes", again, by=person(), mode="change")) == ("done", 0, 0, 1)


def test_a_superfat_is_not_taken_back_and_a_blend_has_none():
    make_bench()
    soap = "code,row,superfat,material,basis,amount\nplain,recipe,,,,\n"
    soap += "plain,line,,olive,share-of-fats,1\n"
    run = imported("recipes", soap, by=person(), mode="change")
    assert told(run) == [(2, "superfat", "superfat-missing")]
    blend = "code,row,name,kind,superfat,material,basis,amount\nmix,recipe,Mix,blend,5 %,,,\n"
    blend += "mix,line,,,,olive,of-batter,1\n"
    assert told(imported("recipes", blend, by=person())) == [(2, "superfat", "superfat-of-a-blend")]
    assert counted(imported("recipes", blend.replace("5 %", ""), by=person())) == ("done", 1, 0, 0)
    assert load_formula(code="mix").version.superfat is None


def test_faults_stand_at_the_rows_and_cells_of_the_recipe():
    make_bench()
    content = (
        "code,row,name,kind,naoh,water,superfat,lye_concentration,material,basis,amount,stage,"
        "portion,share\n"
        "a,recipe,A,soap,naoh,nowater,0.05,0.33,,,,,,\n"
        "a,line,,,,,,,nothing,share-of-fats,1,,,\n"
        "a,line,,,,,,,scent,g-per-kg-fats,5 %,trace,,\n"
        "b,recipe,B,soap,naoh,water,0.05,0.33,olive,,,,,\n"
        "b,line,,,,,,,olive,,1,,,\n"
        "c,line,,,,,,,olive,share-of-fats,1,,,\n"
        "d,recipe,D,soap,naoh,water,,0.33,,,,,,\n"
        "d,line,,,,,,,olive,share-of-fats,1,,,\n"
        "e,recipe,E,soap,naoh,water,0.05,0.33,,,,,,\n"
        "e,line,,,,,,,olive,share-of-fats,1,,,\n"
        "e,line,,,,,,,scent,of-fats,0.01,portion,green,\n"
        "f,recipe,,,naoh,water,0.05,0.33,,,,,,\n"
        "f,line,,,,,,,olive,share-of-fats,1,,,\n"
        "g,recipe,G,soap,naoh,water,0.05,0.33,,,,,,\n"
        "g,portion,,,,,,,,,,,green,0.4\n"
        "g,line,,,,,,,olive,share-of-fats,1,,,\n"
    )
    run = imported("recipes", content, by=person())
    assert set(told(run)) == {
        (2, "water", "unknown-material"),
        (3, "material", "unknown-material"),
        (4, "amount", "not-a-share"),
        (5, "material", "not-here"),
        (6, "basis", "needed"),
        (7, "row", "one-recipe-row"),
        (8, "superfat", "superfat-missing"),
        (12, "portion", "unknown-portion"),
        (13, "name", "needed"),
        (13, "kind", "needed"),
        (16, "share", "portions-not-whole"),
    }
    assert not Formula.objects.exclude(code="plain").exists()


def test_what_a_recipe_makes_stays():
    make_bench()
    content = "code,row,kind,product\nplain,recipe,blend,olive\n"
    run = imported("recipes", content, by=person(), mode="change")
    assert told(run) == [(2, "kind", "fixed"), (2, "product", "fixed")]


def test_a_row_of_the_recipe_alone_changes_no_version_and_needs_lines_for_a_new_one():
    make_bench()
    by = person()
    run = imported("recipes", "code,row,note\nplain,recipe,mild\n", by=by, mode="change")
    assert counted(run) == ("done", 0, 1, 0)
    assert FormulaVersion.objects.count() == 1
    content = "code,row,name,kind,superfat\nother,recipe,Other,soap,0.05\n"
    assert told(imported("recipes", content, by=by)) == [(2, "row", "formula-invalid")]


def test_an_export_has_a_fixed_number_of_queries(django_assert_num_queries):
    make_levels()
    by = person()
    with django_assert_num_queries(6):
        exported("recipes", by=by)
    assert Stage.FATS.value in exported("recipes", by=by).decode()
