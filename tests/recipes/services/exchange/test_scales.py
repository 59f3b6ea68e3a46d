"""Scales from tables: exact both ways, in any unit."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.models.scales.scales import Scale
from recipes.services.scales.scales import add_scale
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db


@settings(max_examples=10)
@given(st.integers(1, 10**12), st.integers(0, 10**15), st.sampled_from(["csv", "xlsx"]))
def test_scales_come_back_as_they_were(step, more, form):
    with undone():
        add_scale(code="one", name="=One", step=step, capacity=step + more)
        by = person()
        content, before = exported("scales", by=by, form=form), exported("scales", by=by)
        assert counted(imported("scales", content, by=by, mode="change")) == ("done", 0, 0, 1)
        Scale.objects.all().delete()
        assert counted(imported("scales", content, by=by)) == ("done", 1, 0, 0)
        assert exported("scales", by=by) == before


def test_steps_are_read_as_people_write_them_and_faults_are_told():
    by = person()
    content = "code,name,step,capacity\noz,Ounces,0.05 oz,11 lb\nodd,Odd,1 kg,1 g\n"
    run = imported("scales", content.encode(), by=by)
    assert [fault[1:] for fault in told(run)] == [("capacity", "holds-too-little")]
    fine = content.rpartition("odd")[0]
    assert counted(imported("scales", fine.encode(), by=by)) == ("done", 1, 0, 0)
    # NIST Handbook 44, appendix C: 1 oz is 28.349523125 g exactly.
    assert Scale.objects.get().step == round(0.05 * 28_349_523_125)
