"""Policies that follow from use and deliveries, aims that are kept, and adopting what follows."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.domain.buying.policy import Aims, LeadTimeSource, safety_factor
from inventory.errors import MaterialRefusal
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.queries.buying.policies import aims_of, lead_times, suggested_policies
from inventory.services.buying.orders import close_order
from inventory.services.buying.policy import adopt_policy, change_aims, policy_of, settings_of
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import OrderLineAt, Received, ReceivedLine
from studio.foundation.errors import NotFound, StateConflict
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order, faults_of
from tests.inventory.making import KG, TODAY
from tests.inventory.using import used_weekly


def delivered(offer, *, after, packs=1, came=1, ordered_on=TODAY):
    """An order of which some packs came so many days later."""
    order = an_order(offer, packs, ordered_on=ordered_on)
    line = ReceivedLine(
        offer=offer.code, packs=came, order_line=OrderLineAt(order=order.code, position=1)
    )
    receive_delivery(
        Received(
            supplier=offer.supplier.code,
            received_on=ordered_on + timedelta(days=after),
            lines=[line],
        )
    )
    return order


def policies(*materials):
    wanted = Material.objects.filter(pk__in=[material.pk for material in materials])
    return suggested_policies(on=TODAY, materials=wanted)


def lead_time_of(offer):
    return lead_times().of(offer)


def test_a_lead_time_is_learned_where_three_orders_came(database):
    oil, other = an_oil(), an_oil()
    supplier = a_supplier(lead_time_days=30)
    offer, beside = an_offer(supplier, oil, "5 kg"), an_offer(supplier, other, "5 kg")
    assert (lead_time_of(offer).mean, lead_time_of(offer).sample) == (30, 0)
    for after in (4, 6):
        delivered(offer, after=after)
    assert lead_time_of(offer).source is LeadTimeSource.STATED
    delivered(beside, after=11)
    of_supplier = lead_time_of(offer)
    assert (of_supplier.mean, of_supplier.sample) == (7, 3)
    assert of_supplier.source is LeadTimeSource.SUPPLIER
    delivered(offer, after=8)
    of_material = lead_time_of(offer)
    assert (of_material.mean, of_material.sd, of_material.sample) == (6, 2, 3)
    assert of_material.source is LeadTimeSource.MATERIAL
    assert lead_time_of(beside).source is LeadTimeSource.SUPPLIER


def test_an_order_counts_once_it_is_filled_or_closed(database):
    offer = an_offer(a_supplier(), an_oil(), "5 kg")
    waiting = delivered(offer, packs=3, came=1, after=2)
    assert lead_times().of_material == {}
    close_order(waiting.code)
    key = (offer.material_id, offer.supplier_id)
    assert lead_times().of_material == {key: [2]}
    assert lead_times().of_supplier == {offer.supplier_id: [2]}


def test_a_policy_follows_from_use_deliveries_and_prices(database):
    oil = an_oil()
    used_weekly(oil, [7 * KG, 7 * KG, 14 * KG, 7 * KG] * 6)
    supplier = a_supplier(lead_time_days=30)
    offer = an_offer(supplier, oil, "5 kg", 500_000)
    for after in (4, 6, 8):
        delivered(offer, after=after, ordered_on=TODAY - timedelta(days=300))
    (found,) = policies(oil)
    suggestion, forecast = found.suggestion, found.forecast
    assert forecast.periods == 24 and forecast.errors.tested == 20
    assert suggestion.demand.mean == pytest.approx(forecast.rate / 7)
    assert suggestion.demand.sd == pytest.approx(forecast.errors.rmse / 7**0.5)
    mean, sd = suggestion.demand.mean, suggestion.demand.sd
    spread = (6 * sd**2 + mean**2 * 2**2) ** 0.5
    expected = 6 * mean + safety_factor(0.95) * spread
    assert suggestion.reorder_point == pytest.approx(expected, abs=1)
    purchase = suggestion.purchase
    assert (purchase.offer, purchase.amount) == (offer.code, purchase.packs * 5 * KG)
    # 2 K D / h with K 10.00 and h 0.25 of 10.00 a kg.
    ideal = (2 * 100_000 * mean * 365 / (0.25 * 100_000 / KG)) ** 0.5
    assert purchase.ideal == pytest.approx(ideal)
    assert suggestion.reorder_to == suggestion.reorder_point + purchase.amount


def test_a_break_that_is_worth_it_is_bought(database):
    oil = an_oil()
    used_weekly(oil, [7 * KG] * 20)
    offer = an_offer(a_supplier(), oil, "5 kg", 500_000)
    # The economic quantity is 10.8 packs.
    (plain,) = policies(oil)
    assert plain.suggestion.purchase.packs == 11
    Offer.objects.filter(pk=offer.pk).update(price_breaks=[[20, 400_000], [500, 399_000]])
    (found,) = policies(oil)
    purchase = found.suggestion.purchase
    assert purchase.packs == 20 and purchase.ideal == pytest.approx(100 * KG)
    assert purchase.annual_cost < plain.suggestion.purchase.annual_cost


def test_adopting_writes_the_suggestion_to_the_material(database):
    oil = an_oil(name="Olive oil")
    used_weekly(oil, [7 * KG] * 20, on=timezone.localdate())
    an_offer(a_supplier(lead_time_days=10), oil, "5 kg", 500_000)
    adopted = adopt_policy(oil.code)
    suggestion = policy_of(oil.code).suggestion
    assert adopted.reorder_point == suggestion.reorder_point == 10 * KG
    assert adopted.reorder_to == suggestion.reorder_to > 10 * KG
    assert adopted.revision == oil.revision + 1 and adopted.name == "Olive oil"
    assert adopted.history.count() == 2


@pytest.mark.parametrize("offered", [False, True])
def test_without_use_or_offer_nothing_is_adopted(database, offered):
    oil = an_oil()
    if offered:
        an_offer(a_supplier(), oil, "5 kg")
    else:
        used_weekly(oil, [KG] * 10, on=timezone.localdate())
    with pytest.raises(StateConflict) as refused:
        adopt_policy(oil.code)
    assert ("used" if offered else "offers") in str(refused.value)
    assert Material.objects.get(pk=oil.pk).revision == oil.revision


def test_a_material_that_is_not_there(db):
    for call in (policy_of, adopt_policy):
        with pytest.raises(NotFound):
            call("nothing")


def test_aims_are_the_materials_own_else_the_studios_else_the_defaults(database):
    oil, other = an_oil(), an_oil()
    change_aims(None, {"service_level": Decimal("0.9"), "order_cost": 70_000})
    change_aims(oil, {"service_level": Decimal("0.99"), "time_to_use_days": 20})
    found = aims_of([oil.pk, other.pk])
    assert found[0] == found[other.pk] == Aims(service_level=Decimal("0.9"), order_cost=70_000)
    assert found[oil.pk] == Aims(
        service_level=Decimal("0.99"), order_cost=70_000, time_to_use_days=20
    )
    change_aims(oil, {"service_level": None})
    assert aims_of([oil.pk])[oil.pk].service_level == Decimal("0.9")
    assert settings_of(oil).revision == 2 and settings_of(other).revision == 0


def test_aims_that_are_none_are_refused_together(database):
    wrong = {
        "service_level": Decimal(1),
        "order_cost": 0,
        "holding_share": Decimal("5.1"),
        "time_to_use_days": 3_651,
    }
    with pytest.raises(MaterialRefusal) as refused:
        change_aims(None, wrong)
    assert faults_of(refused) == {("out-of-range", name) for name in wrong}
    assert not PolicySettings.objects.exists()


@pytest.mark.parametrize(
    "values",
    [
        {"service_level": 1},
        {"service_level": Decimal("0.4")},
        {"order_cost": 0},
        {"holding_share": 0},
        {"holding_share": 6},
        {},
    ],
)
def test_the_database_refuses_them_too(database, values):
    PolicySettings.objects.create(material=an_oil())
    PolicySettings.objects.create()
    with pytest.raises(IntegrityError), transaction.atomic():
        material = an_oil() if values else None
        PolicySettings.objects.create(material=material, **values)


@pytest.mark.parametrize("materials", [1, 15])
def test_six_queries_for_any_number_of_materials(db, materials):
    supplier = a_supplier()
    oils = [an_oil() for _ in range(materials)]
    for oil in oils:
        used_weekly(oil, [KG] * 3)
        an_offer(supplier, oil, "5 kg")
    with CaptureQueriesContext(connection) as asked:
        assert len(policies(*oils)) == materials
    assert len(asked) == 6
