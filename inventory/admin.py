"""The inventory's rows to look at. Nothing is changed here: the services hold the rules, and the
ledger is only added to."""

from django.contrib import admin

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
from studio.web.read_only_admin import LookOnlyAdmin, LookOnlyInline
from studio.work.digests import Digest
from studio.work.jobs import Job


class DeliveryLines(LookOnlyInline):
    """Lines of a delivery."""

    model = DeliveryLine


class DeliveryCharges(LookOnlyInline):
    """Charges of a delivery."""

    model = DeliveryCharge


class LotHolds(LookOnlyInline):
    """What holds a lot, and what held it."""

    model = Hold


class OrderLines(LookOnlyInline):
    """Lines of a purchase order."""

    model = PurchaseOrderLine


class ReservationLines(LookOnlyInline):
    """What lots hold for a reservation."""

    model = ReservationLine


@admin.register(Material)
class MaterialAdmin(LookOnlyAdmin):
    """Materials."""

    list_display = ("code", "name", "kind", "counted", "active")
    list_filter = ("kind", "active")
    search_fields = ("code", "name", "inci_name")


@admin.register(Supplier)
class SupplierAdmin(LookOnlyAdmin):
    """Suppliers."""

    list_display = ("code", "name", "lead_time_days", "active")
    search_fields = ("code", "name")


@admin.register(Offer)
class OfferAdmin(LookOnlyAdmin):
    """Offers."""

    list_display = ("code", "supplier", "material", "pack_written", "active")
    list_select_related = ("supplier", "material")
    search_fields = ("code", "supplier_item")


@admin.register(Delivery)
class DeliveryAdmin(LookOnlyAdmin):
    """Deliveries with their lines and charges."""

    list_display = ("code", "supplier", "received_on", "invoice")
    list_select_related = ("supplier",)
    search_fields = ("code", "invoice")
    inlines = (DeliveryLines, DeliveryCharges)


@admin.register(PurchaseOrder)
class PurchaseOrderAdmin(LookOnlyAdmin):
    """Purchase orders with their lines."""

    list_display = ("code", "supplier", "state", "ordered_on", "expected_on")
    list_filter = ("state",)
    list_select_related = ("supplier",)
    inlines = (OrderLines,)


@admin.register(Lot)
class LotAdmin(LookOnlyAdmin):
    """Lots with their balances."""

    list_display = ("code", "material", "state", "best_before", "on_hand", "reserved")
    list_filter = ("state",)
    list_select_related = ("material",)
    search_fields = ("code", "supplier_lot", "material__code")
    inlines = (LotHolds,)


@admin.register(StockEntry)
class StockEntryAdmin(LookOnlyAdmin):
    """The ledger."""

    list_display = ("id", "on", "at", "verb", "lot", "on_hand", "reserved", "reference", "by")
    list_filter = ("verb",)
    list_select_related = ("lot", "by")
    search_fields = ("reference", "lot__code")
    ordering = ("-id",)


@admin.register(Reservation)
class ReservationAdmin(LookOnlyAdmin):
    """Reservations with what their lots hold."""

    list_display = ("id", "holder", "state", "created_at", "closed_at")
    list_filter = ("state",)
    search_fields = ("holder",)
    inlines = (ReservationLines,)


@admin.register(StockCount)
class StockCountAdmin(LookOnlyAdmin):
    """Counts."""

    list_display = ("id", "lot", "counted_on", "expected", "found", "by")
    list_select_related = ("lot", "by")


@admin.register(ExpectedMake)
class ExpectedMakeAdmin(LookOnlyAdmin):
    """What planned batches will make."""

    list_display = ("holder", "material", "due_on", "amount")
    list_select_related = ("material",)
    search_fields = ("holder",)


@admin.register(Requirement)
class RequirementAdmin(LookOnlyAdmin):
    """Dated requirements."""

    list_display = ("holder", "material", "due_on", "amount")
    list_select_related = ("material",)
    search_fields = ("holder",)


@admin.register(Alert)
class AlertAdmin(LookOnlyAdmin):
    """Alerts."""

    list_display = ("kind", "name", "opened_at", "closed_at", "snoozed_until", "reason")
    list_filter = ("kind",)


@admin.register(Job)
class JobAdmin(LookOnlyAdmin):
    """Jobs and their parts."""

    list_display = ("id", "name", "state", "attempts", "created_at", "finished_at", "trouble")
    list_filter = ("state", "name")


@admin.register(WebhookTarget)
class WebhookTargetAdmin(LookOnlyAdmin):
    """Programs that are told of alerts. Their secrets are shown to nobody."""

    list_display = ("code", "url", "active")
    exclude = ("secret",)


@admin.register(WebhookDelivery)
class WebhookDeliveryAdmin(LookOnlyAdmin):
    """What was sent to other programs, waits, or was given up."""

    list_display = ("id", "target", "event_id", "attempts", "delivered_at", "dead_at", "trouble")
    list_select_related = ("target",)


@admin.register(Digest)
class DigestAdmin(LookOnlyAdmin):
    """Mails about alerts, sent and waiting."""

    list_display = ("subject", "created_at", "sent_at", "attempts")
