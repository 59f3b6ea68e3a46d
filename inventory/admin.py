"""The inventory's rows to look at. Nothing is changed here: the services hold the rules, and the
ledger is only added to."""

from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.counting.counts import StockCount
from inventory.models.receiving.deliveries import Delivery, DeliveryCharge, DeliveryLine
from inventory.models.stock.holds import Hold
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine
from studio.models import WebhookDelivery, WebhookTarget
from studio.web.read_only_admin import lines_of, look_only
from studio.work.digests import Digest
from studio.work.jobs import Job

look_only(
    Material,
    "code name kind counted active",
    filters="kind active",
    search="code name inci_name",
)
look_only(Supplier, "code name lead_time_days active", search="code name")
look_only(Offer, "code supplier material pack_written active", search="code supplier_item")
look_only(
    Delivery,
    "code supplier received_on invoice",
    search="code invoice",
    lines=(lines_of(DeliveryLine), lines_of(DeliveryCharge)),
)
look_only(
    PurchaseOrder,
    "code supplier state ordered_on expected_on",
    filters="state",
    lines=(lines_of(PurchaseOrderLine),),
)
look_only(
    Lot,
    "code material state best_before on_hand reserved",
    filters="state",
    search="code supplier_lot material__code",
    lines=(lines_of(Hold),),
)
look_only(
    StockEntry,
    "id on at verb lot on_hand reserved reference by",
    filters="verb",
    search="reference lot__code",
    ordering=("-id",),
)
look_only(
    Reservation,
    "id holder state created_at closed_at",
    filters="state",
    search="holder",
    lines=(lines_of(ReservationLine),),
)
look_only(StockCount, "id lot counted_on expected found by")
look_only(ExpectedMake, "holder material due_on amount", search="holder")
look_only(Requirement, "holder material due_on amount", search="holder")
look_only(Alert, "kind name opened_at closed_at snoozed_until reason", filters="kind")
look_only(Job, "id name state attempts created_at finished_at trouble", filters="state name")
# Their secrets are shown to nobody.
look_only(WebhookTarget, "code url active", exclude=("secret",))
look_only(WebhookDelivery, "id target event_id attempts delivered_at dead_at trouble")
look_only(Digest, "subject created_at sent_at attempts")
