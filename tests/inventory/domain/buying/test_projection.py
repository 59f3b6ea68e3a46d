"""Projected stock and the verdict 'runs low'."""

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.buying.projection import MaterialSnapshot, assess, project

KG = 10**12
amounts = st.integers(0, 10**15)
snapshots = st.builds(
    MaterialSnapshot,
    material=st.integers(1, 99),
    name=st.just("Shea butter"),
    counted=st.booleans(),
    on_hand=amounts,
    reserved=amounts,
    planned=amounts,
    on_order=amounts,
)


@given(on_hand=amounts, reserved=amounts, planned=amounts, on_order=amounts, more=amounts)
def test_projected_stock_follows_each_term_one_for_one(on_hand, reserved, planned, on_order, more):
    terms = {"on_hand": on_hand, "reserved": reserved, "planned": planned, "on_order": on_order}
    base = project(**terms)
    assert base == on_hand - reserved - planned + on_order
    for term, sign in {"on_hand": 1, "reserved": -1, "planned": -1, "on_order": 1}.items():
        assert project(**{**terms, term: terms[term] + more}) == base + sign * more


@given(snapshot=snapshots, point=amounts)
def test_low_is_at_or_below_the_point_and_short_by_brings_it_back(snapshot, point):
    verdict = assess(snapshot, point)
    assert verdict.low == (verdict.projected <= point)
    assert verdict.short_by == (max(point - verdict.projected, 0) if verdict.low else 0)
    assert bool(verdict.reason) == verdict.low


@given(snapshot=snapshots, point=amounts, more=amounts)
def test_more_on_hand_never_makes_a_material_low(snapshot, point, more):
    fuller = MaterialSnapshot(
        material=snapshot.material,
        name=snapshot.name,
        on_hand=snapshot.on_hand + more,
        reserved=snapshot.reserved,
        planned=snapshot.planned,
        on_order=snapshot.on_order,
    )
    assert assess(snapshot, point).low or not assess(fuller, point).low


@given(snapshot=snapshots)
def test_without_a_point_only_less_than_nothing_is_low(snapshot):
    verdict = assess(snapshot, None)
    assert verdict.low == (verdict.projected < 0)
    assert verdict.short_by == max(-verdict.projected, 0)


@given(snapshot=snapshots, point=amounts)
def test_the_reason_stays_short(snapshot, point):
    assert len(assess(snapshot, point).reason) < 280


def test_the_reason_shows_the_sum():
    snapshot = MaterialSnapshot(
        material=1, name="Olive oil", on_hand=5 * KG, reserved=2 * KG, planned=4 * KG, on_order=KG
    )
    assert assess(snapshot, 3 * KG).reason == (
        "Olive oil: 5 kg on hand, less 2 kg reserved, less 4 kg for planned batches, "
        "plus 1 kg on order: leaves nothing, below the reorder point of 3 kg."
    )


def test_the_reason_tells_what_will_be_missing():
    snapshot = MaterialSnapshot(material=1, name="Bar boxes", counted=True, on_hand=10, planned=24)
    assert assess(snapshot, None).reason == (
        "Bar boxes: 10 on hand, less 24 for planned batches: 14 is missing."
    )


def test_at_the_point_it_is_time_to_order():
    snapshot = MaterialSnapshot(material=1, name="Bar boxes", counted=True, on_hand=50)
    verdict = assess(snapshot, 50)
    assert (verdict.low, verdict.short_by) == (True, 0)
    assert verdict.reason.endswith("at the reorder point of 50.")
