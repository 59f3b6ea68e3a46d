"""Molds from tables: checked by their geometry, kept with history, exact both ways."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.models.molds.molds import Mold
from recipes.services.molds.molds import add_mold
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db
size = st.integers(10**6, 10**9)
#: 1 in is 25.4 mm exactly: NIST Handbook 44, appendix C.
INCH_NM = 25_400_000


@settings(max_examples=20)
@given(
    st.tuples(size, size, size),
    st.integers(1, 50),
    st.decimals(0, "0.5", places=6),
    st.integers(1, 10**9),
    st.sampled_from(["csv", "xlsx"]),
)
def test_molds_come_back_as_they_were(sides, rows, overfill, volume, form):
    with undone():
        length, width, depth = sides
        box = {"length": length, "width": width, "depth": depth, "rows": rows}
        add_mold(code="box", name="=Box", shape="rectangular", overfill_share=overfill, **box)
        add_mold(code="cup", name="Cup", shape="measured", measured_volume=volume, cavities=6)
        add_mold(code="tube", name="Tube", shape="cylinder", diameter=width, depth=depth)
        by = person()
        content, before = exported("molds", by=by, form=form), exported("molds", by=by)
        same = imported("molds", content, by=by, mode="change")
        assert counted(same) == ("done", 0, 0, 3)
        Mold.objects.all().delete()
        assert counted(imported("molds", content, by=by)) == ("done", 3, 0, 0)
        assert exported("molds", by=by) == before


def test_sizes_are_read_as_people_write_them():
    by = person()
    content = (
        "code,name,shape,length,width,depth,rows\nloaf,Loaf,rectangular,10 in,3 1/2 in,65 mm,10\n"
    )
    assert counted(imported("molds", content, by=by)) == ("done", 1, 0, 0)
    mold = Mold.objects.get()
    assert (mold.length, mold.width) == (10 * INCH_NM, 3.5 * INCH_NM)
    assert mold.depth == 65 * 10**6
    changed = "code,fill_height\nloaf,2 in\n"
    assert counted(imported("molds", changed, by=by, mode="change")) == ("done", 0, 1, 0)
    mold.refresh_from_db()
    assert (mold.fill_height, mold.rows, mold.revision) == (2 * INCH_NM, 10, 2)
    assert mold.changed_by == by


def test_impossible_molds_are_refused_at_their_cells():
    content = (
        "code,name,shape,length,width,depth,diameter,trim,rows\n"
        "a,A,rectangular,10 in,,2 in,3 in,,1\n"
        "b,B,square,10 in,3 in,2 in,,,1\n"
        "c,C,rectangular,10 in,3 in,2 in,,6 in,1\n"
        "d,,cylinder,,,2 in,3 in,,\n"
        "e,E,rectangular,10 lb,3 in,2 in,,,1\n"
    )
    run = imported("molds", content, by=person())
    assert set(told(run)) == {
        (2, "width", "size-missing"),
        (2, "diameter", "size-not-used"),
        (3, "shape", "invalid-input"),
        (4, "trim", "no-bars"),
        (5, "name", "needed"),
        (6, "length", "wrong-dimension"),
    }


def test_makers_plan_with_molds_and_viewers_do_not():
    from studio.work.exchange.registry import TableClosed

    content = "code,name,shape,length,width,depth\na,A,slab,10 in,10 in,2 in\n"
    assert imported("molds", content, by=person("maker")).state == "done"
    with pytest.raises(TableClosed):
        imported("molds", content, by=person("viewer"))
