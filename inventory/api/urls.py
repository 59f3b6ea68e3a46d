"""The addresses of the inventory below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from inventory.api.alerts.alerts import AlertViewSet, JobViewSet
from inventory.api.alerts.webhooks import WebhookDeliveryViewSet, WebhookTargetViewSet
from inventory.api.buying.demand import MaterialDemandViewSet
from inventory.api.buying.orders import OrderPaperView, OrderTableView, PurchaseOrderViewSet
from inventory.api.buying.plans import BuyPlanViewSet
from inventory.api.buying.policy import PolicyViewSet, StudioAimsView
from inventory.api.buying.projection import MaterialProjectionViewSet, ProjectionViewSet
from inventory.api.catalog.materials import MaterialViewSet
from inventory.api.catalog.suppliers import OfferViewSet, SupplierViewSet
from inventory.api.counting.sessions import CountSessionViewSet, CountTableView
from inventory.api.receiving.deliveries import DeliveryViewSet
from inventory.api.shipping.shipments import ShipmentViewSet
from inventory.api.shipping.trace import (
    LotTraceViewSet,
    RecallPaperView,
    RecallTableView,
    RecallViewSet,
)
from inventory.api.stock.ledger import (
    CountViewSet,
    EntryViewSet,
    ExpectedMakeViewSet,
    RequirementViewSet,
    ReservationViewSet,
)
from inventory.api.stock.locations import LocationViewSet, LotMoveViewSet
from inventory.api.stock.lots import LotHistoryViewSet, LotViewSet, MaterialHistoryViewSet
from inventory.api.stock.positions import StockViewSet

router = SimpleRouter()
router.register("materials", MaterialViewSet, basename="material")
router.register("materials", MaterialDemandViewSet, basename="material-demand")
router.register("materials", MaterialProjectionViewSet, basename="material-projection")
router.register("projection", ProjectionViewSet, basename="projection")
router.register("policies", PolicyViewSet, basename="policy")
router.register("stock", StockViewSet, basename="stock")
router.register("suppliers", SupplierViewSet, basename="supplier")
router.register("offers", OfferViewSet, basename="offer")
router.register("buy-plans", BuyPlanViewSet, basename="buy-plan")
router.register("purchase-orders", PurchaseOrderViewSet, basename="purchase-order")
router.register("deliveries", DeliveryViewSet, basename="delivery")
router.register("lots", LotViewSet, basename="lot")
router.register("lots", LotTraceViewSet, basename="lot-trace")
router.register("lots", LotMoveViewSet, basename="lot-move")
router.register(r"lots/(?P<code>[^/]+)/history", LotHistoryViewSet, basename="lot-history")
router.register(
    r"materials/(?P<code>[^/]+)/history", MaterialHistoryViewSet, basename="material-history"
)
router.register("recalls", RecallViewSet, basename="recall")
router.register("shipments", ShipmentViewSet, basename="shipment")
router.register("locations", LocationViewSet, basename="location")
router.register("count-sessions", CountSessionViewSet, basename="count-session")
router.register("entries", EntryViewSet, basename="entry")
router.register("reservations", ReservationViewSet, basename="reservation")
router.register("counts", CountViewSet, basename="count")
router.register("expected-makes", ExpectedMakeViewSet, basename="expected-make")
router.register("requirements", RequirementViewSet, basename="requirement")
router.register("alerts", AlertViewSet, basename="alert")
router.register("jobs", JobViewSet, basename="job")
router.register("webhooks", WebhookTargetViewSet, basename="webhook")
router.register("webhook-deliveries", WebhookDeliveryViewSet, basename="webhook-delivery")

urlpatterns = [
    path("reorder-aims/", StudioAimsView.as_view(), name="reorder-aims"),
    path("recalls/<str:code>/report.pdf", RecallPaperView.as_view(), name="recall-paper"),
    path("recalls/<str:code>/report.csv", RecallTableView.as_view(), name="recall-table"),
    path("count-sessions/<str:code>/sheet.csv", CountTableView.as_view(), name="count-table"),
    *router.urls,
    path("purchase-orders/<str:code>/pdf/", OrderPaperView.as_view(), name="purchase-order-pdf"),
    path("purchase-orders/<str:code>/csv/", OrderTableView.as_view(), name="purchase-order-csv"),
]
