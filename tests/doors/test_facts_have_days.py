"""Nothing that happened is still to come, goes before it came in, or ships before it was free.

Every request that enters something in the ledger, or says what happened on a day, is sent for a day
to come and for a day before its lot was there: it is refused, names its field, and enters nothing.
"""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.catalog.suppliers import save_supplier
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.costing.sales_making import Shop, make_shop
from tests.doors.held_studio import nothing_of_stock_changes
from tests.inventory.making import KG, make_lot
from tests.recipes.api.calls import Caller
from tests.recipes.making import planned

TO_COME = "day-to-come"
#: The requests of batches read no such day at all; what follows something else is before that, too.
LONG_AGO = ("too-long-ago", "day-outside", "before-")


def ago(days: int) -> date:
    return timezone.localdate() - timedelta(days=days)


#: How many days ago each thing happened.
IN, POURED, CUT, CURED, SHIPPED = 60, 50, 49, 20, 10


def made(shop: Shop, *, until: str) -> str:
    """A batch of eight bars that has come so far, each step on its day."""
    code = planned(shop.bench, on=ago(POURED)).code
    reserve_batch(code)
    steps = {
        "poured": lambda: pour_batch(code, Poured(on=ago(POURED))),
        "cut": lambda: cut_batch(code, Cut(on=ago(CUT), bars_good=8)),
        "cured": lambda: cure_batch(code, Cured(on=ago(CURED))),
    }
    for state, step in steps.items():
        if Batch.objects.get(code=code).state == until:
            break
        step()
        assert Batch.objects.get(code=code).state == state
    return code


class Studio:
    """A shop with a batch in each state, a shipment, and an order that holds bars."""

    def __init__(self) -> None:
        self.shop = make_shop()
        for material in self.shop.bench.materials.values():
            amount = 100 if material.counted else 40 * KG
            make_lot(material, amount, 40_000, received_on=ago(IN), code=f"{material.code}-in")
        save_supplier(Supplier(code="mill", name="Invented Mill"))
        self.owner = Caller("owner")
        self.reserved, self.poured, self.cut, self.cured = (
            made(self.shop, until=state) for state in ("reserved", "poured", "cut", "cured")
        )
        sent = {"customer": "Corner", "lines": [{"lot": self.cured, "amount": "2 each"}]}
        shipment = self.owner.made("shipments/", {**sent, "shipped_on": str(ago(SHIPPED))})
        self.shipment = shipment["code"]
        ordered = {
            "customer": "corner",
            "lines": [{"product": "plain", "quantity": 3, "bars_per_carton": 12}],
            "mode": "parts",
            "plan": False,
            "ordered_on": str(ago(IN)),
            "due_on": str(ago(0)),
        }
        self.order = self.owner.made("sales-orders/", ordered)["code"]

    def ship_some(self) -> str:
        """One bar of the order leaves; the code of its shipment."""
        body = {"lines": [{"line": 1, "bars": 1}], "shipped_on": str(ago(SHIPPED))}
        sent = self.owner.made(f"sales-orders/{self.order}/ship/", body)
        return sent["shipments"][0]["shipment"]


@pytest.fixture
def studio(database):
    return Studio()


def doors(studio: Studio):
    """Every request with a day: its address, the rest of its body, the name of the day; and how
    many days ago is too early for it, with the code of that fault."""
    early, pour_day, cut_day = IN + 1, POURED + 1, CUT + 1
    bars = {"weights": ["120 g", "121 g"]}
    oil = "lots/olive-in"
    sent = {"customer": "Corner", "lines": [{"lot": studio.cured, "amount": "1 each"}]}
    of_any = {"customer": "Corner", "lines": [{"material": "plain-bar", "amount": "1 each"}]}
    bought = {
        "supplier": "mill",
        "lines": [{"material": "olive", "written": "1 kg", "price": "9"}],
    }
    back = {"reason": "dented"}
    from_order = {"shipment": studio.ship_some(), "line": 1, "bars": 1, "reason": "dented"}
    order = f"sales-orders/{studio.order}"
    return [
        (f"batches/{studio.reserved}/pour/", {}, "on", early, "before-receipt"),
        (f"batches/{studio.poured}/cut/", {"bars_good": 8}, "on", pour_day, "before-pour"),
        (f"batches/{studio.cut}/weighings/", bars, "on", cut_day, "before-cut"),
        (f"batches/{studio.cut}/net-weight/", bars, "weighed_on", pour_day, "before-pour"),
        (f"batches/{studio.cut}/cure/", {"early_reason": "fair"}, "on", cut_day, "before-cut"),
        (f"{oil}/count/", {"found": "30 kg"}, "counted_on", early, "before-receipt"),
        (f"{oil}/count/", {"found": "0 g"}, "counted_on", early, "before-receipt"),
        (
            f"{oil}/spoil/",
            {"amount": "1 kg", "reason": "old"},
            "spoiled_on",
            early,
            "before-receipt",
        ),
        (f"{oil}/received-on/", {"reason": "typed wrong"}, "received_on", 1, "after-use"),
        ("count-sessions/", {"lots": ["olive-in"]}, "counted_on", early, "before-receipt"),
        ("deliveries/", bought, "received_on", None, ""),
        ("shipments/", sent, "shipped_on", cut_day, "before-receipt"),
        ("shipments/", sent, "shipped_on", CURED + 1, "before-release"),
        ("shipments/", of_any, "shipped_on", CURED + 1, "not-enough-stock"),
        (f"shipments/{studio.shipment}/return/", back, "returned_on", SHIPPED + 1, "before-shipm"),
        (f"{order}/ship/", {}, "shipped_on", cut_day, "before-receipt"),
        (f"{order}/ship/", {}, "shipped_on", CURED + 1, "before-release"),
        (f"{order}/return/", from_order, "returned_on", SHIPPED + 1, "before-shipm"),
    ]


def test_every_door_refuses_a_day_to_come_and_one_before_the_lot_was_there(studio):
    found = doors(studio)
    for address, body, field, too_early, code in found:
        days = [(ago(-1), TO_COME), (date(1, 1, 1), LONG_AGO)]
        days += [(ago(too_early), code)] if too_early else []
        for day, expected in days:
            with nothing_of_stock_changes():
                answer = studio.owner.post(address, {**body, field: str(day)})
            told = [(e["code"], e["field"]) for e in answer.json().get("errors", [])]
            assert 400 <= answer.status_code < 500, (address, field, day, answer.content)
            assert any(each.startswith(expected) for each, _ in told), (address, day, told)
            if expected == TO_COME:
                assert told == [(TO_COME, field)], (address, told)
            elif expected == LONG_AGO:
                assert any(each.startswith(LONG_AGO) and at == field for each, at in told), told


def test_on_the_very_days_everything_is_entered_and_each_entry_has_its_day(studio):
    owner = studio.owner
    owner.done(f"batches/{studio.reserved}/pour/", {"on": str(ago(IN))})
    assert {e.on for e in StockEntry.objects.filter(reference=f"batch:{studio.reserved}")} == {
        ago(IN),
        ago(0),  # the reservation is of the day on which it is made
    }
    owner.done("lots/olive-in/spoil/", {"amount": "1 g", "reason": "x", "spoiled_on": str(ago(IN))})
    owner.made("lots/olive-in/count/", {"found": "30 kg", "counted_on": str(ago(IN))})
    entries = StockEntry.objects.filter(lot__code="olive-in", verb__in=("spoil", "count"))
    assert {entry.on for entry in entries} == {ago(IN)}
    sent = {"customer": "Corner", "lines": [{"lot": studio.cured, "amount": "1 each"}]}
    left = owner.made("shipments/", {**sent, "shipped_on": str(ago(CURED))})["code"]
    owner.made(f"shipments/{left}/return/", {"reason": "dented", "returned_on": str(ago(CURED))})
    sale = StockEntry.objects.filter(reference=f"shipment:{left}")
    assert {(entry.verb, entry.on) for entry in sale} == {
        ("ship", ago(CURED)),
        ("return", ago(CURED)),
    }
    owner.made(f"sales-orders/{studio.order}/ship/", {"shipped_on": str(ago(CURED))})
    bars = Lot.objects.get(code=studio.cured)
    assert [(e.verb, e.on) for e in bars.entries.order_by("id")][:1] == [("produce", ago(CUT))]
    packed = StockEntry.objects.filter(reference=f"batch:{studio.cured}", note="packed")
    assert packed.exists() and {entry.on for entry in packed.exclude(verb="release")} == {
        ago(CURED)
    }


def test_a_delivery_of_a_coming_day_is_sent_to_a_purchase_order(studio):
    bought = {
        "supplier": "mill",
        "received_on": str(ago(-3)),
        "lines": [{"material": "olive", "written": "1 kg", "price": "9"}],
    }
    answer = studio.owner.post("deliveries/", bought).json()
    (fault,) = [each for each in answer["errors"] if each["field"] == "received_on"]
    assert "purchase order" in fault["detail"]
