"""A studio where one lot of oil and one of bars are held, after some of each was promised."""

from contextlib import contextmanager
from datetime import timedelta
from itertools import count

from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from costing.services.orders.holds import unreserve_line
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from inventory.domain.stock.holds import HELD_BY_HAND, Cause, NewHold
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.shipping.recall import recall_lot
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holds import hold
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from studio.models import ImportRun
from tests.costing.sales_making import make_shop
from tests.recipes.api.calls import Caller
from tests.recipes.making import planned, stock
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import carried_on

#: Rows that say what became of stock: none may change at a closed door.
STOCK = (
    "inventory.StockEntry",
    "inventory.Lot",
    "inventory.Reservation",
    "inventory.ReservationLine",
    "inventory.CountSession",
    "inventory.Delivery",
    "inventory.Shipment",
    "inventory.ShipmentReturn",
    "recipes.Batch",
    "recipes.CureWeighing",
    "costing.SalesOrderHold",
    "costing.SalesShipment",
)
_KEYS = count(1)


class HeldStudio:
    """Its codes: `oil` and `bars` are lots that are held; a batch and an order hold some of each
    since before, a batch, an order and a quote want some. Without a cause nothing is held."""

    def __init__(self, cause: Cause | None) -> None:
        self.cause, self.today = cause, timezone.localdate()
        self.shop = make_shop()
        stock(self.shop.bench, received_on=self.today - timedelta(days=60))
        self.oil = Lot.objects.get(material__code="olive").code
        self.bars = self.shop.cured(30, days=40, code="bars").code
        self.reserved = planned(self.shop.bench, on=self.today).code
        reserve_batch(self.reserved)
        self.open = planned(self.shop.bench, on=self.today).code
        self.holding = self.shop.order(5).code
        if cause is not None:
            for code in (self.oil, self.bars):
                self._hold(Lot.objects.get(code=code), cause)
        self.wanting = self.shop.order(3).code
        if cause is None:
            unreserve_line(self.wanting)
        lines = [LineDescription(product="plain", quantity=2, bars_per_carton=12)]
        asked = QuoteDescription(customer=self.shop.customer.code, lines=lines)
        self.quote = draft_quote(asked, on=self.today).code
        send_quote(self.quote, on=self.today, mail=False)
        self.owner, self.maker = Caller("owner"), Caller("maker")
        self.pages = Client()
        self.pages.force_login(person("owner"))

    def _hold(self, lot: Lot, cause: Cause) -> None:
        if cause in HELD_BY_HAND:
            hold_lot(lot.pk, reason="looked at", cause=cause)
        elif cause is Cause.RECALL:
            recall_lot(lot.code, "rancid")
        else:
            kind = "opening" if cause is Cause.CURE else "batch"
            new = NewHold(cause=cause, reason="found", reference=f"{kind}:X-1")
            hold([lot.pk], new, on=self.today)

    def line(self, batch: str, material: str) -> BatchLine:
        return BatchLine.objects.get(batch__code=batch, material__code=material)

    def page(self, path: str, **values: object):
        return self.pages.post(path, {"once": f"k-{next(_KEYS)}", **values})

    def take_in(self, content: str, mode: str = "create") -> ImportRun:
        """A table of lots handed in on its page, and what a worker makes of it."""
        file = SimpleUploadedFile("lots.csv", content.encode(), content_type="text/csv")
        answer = self.page("/settings/tables/", table="lots", mode=mode, file=file)
        assert answer.status_code == 303
        run = carried_on(ImportRun.objects.latest("pk"))
        self.page(f"/settings/tables/files/{run.pk}/take-in/")
        run.refresh_from_db()
        return carried_on(run)

    def is_held(self, code: str) -> bool:
        open_ones = Hold.objects.filter(lot__code=code, lifted_at=None)
        return open_ones.filter(cause=self.cause).exists()


class WeighedStudio(HeldStudio):
    """Nothing is held; a batch is poured, bars have left (some for an order), an order waits."""

    def __init__(self) -> None:
        super().__init__(None)
        self.poured = planned(self.shop.bench, on=self.today).code
        reserve_batch(self.poured)
        pour_batch(self.poured, Poured(on=self.today - timedelta(days=1)))
        sent = {"customer": "Corner", "lines": [{"lot": self.bars, "amount": "3 each"}]}
        self.shipment = self.owner.made("shipments/", sent)["code"]
        order = self.owner.made(f"sales-orders/{self.holding}/ship/", {})
        self.sale = order["shipments"][0]["shipment"]
        self.half = self.shop.order(4).code

    def mass(self, code: str) -> int:
        """Of the batter as it was planned, in g."""
        return Batch.objects.get(code=code).batter // 10**9


def stock_rows():
    return {
        name: list(apps.get_model(name)._default_manager.order_by("pk").values()) for name in STOCK
    }


@contextmanager
def nothing_of_stock_changes():
    """At a closed door: no row of these tables comes, goes or changes."""
    before = stock_rows()
    yield
    after = stock_rows()
    for name, kept in before.items():
        assert after[name] == kept, name
