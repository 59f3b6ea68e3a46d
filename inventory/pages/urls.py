"""The addresses of the pages of this app."""

from django.urls import path

from inventory.pages.alerts import alerts
from inventory.pages.buying import order_new, orders, policies
from inventory.pages.buying import plans as buy_plans
from inventory.pages.buying import running_out as buying
from inventory.pages.catalog import material_edit, materials, offers, suppliers
from inventory.pages.counting import closing as count_closing
from inventory.pages.counting import counts
from inventory.pages.counting import sheet as count_sheet
from inventory.pages.receiving import deliveries, receive
from inventory.pages.shipping import recalls, shipments
from inventory.pages.start import first_materials
from inventory.pages.stock import locations, lot_holds, lot_verbs, lots, shelf

urlpatterns = [
    path("shelf/", shelf.shelf, name="shelf"),
    path("shelf/receive/", receive.receive_page, name="receive-page"),
    path("shelf/receive/landed/", receive.landed_fragment, name="receive-landed"),
    path("shelf/receive/items/", receive.known_items, name="receive-items"),
    path("shelf/deliveries/", deliveries.delivery_list, name="deliveries-page"),
    path("shelf/deliveries/<slug:code>/", deliveries.delivery_page, name="delivery-page"),
    path("shelf/lots/", shelf.lot_list, name="lots-page"),
    path("shelf/materials/new/", material_edit.material_new, name="material-new"),
    path("shelf/materials/<slug:code>/edit/", material_edit.material_edit, name="material-edit"),
    path("shelf/suppliers/", suppliers.supplier_list, name="suppliers-page"),
    path("shelf/suppliers/new/", suppliers.supplier_new, name="supplier-new"),
    path("shelf/suppliers/<slug:code>/", suppliers.supplier_page, name="supplier-page"),
    path("shelf/suppliers/<slug:code>/order/", order_new.order_new, name="purchase-order-new"),
    path("shelf/suppliers/<slug:code>/edit/", suppliers.supplier_edit, name="supplier-edit"),
    path("shelf/offers/new/", offers.offer_new, name="offer-new"),
    path("shelf/offers/<slug:code>/", offers.offer_page, name="offer-page"),
    path("shelf/offers/<slug:code>/edit/", offers.offer_edit, name="offer-edit"),
    path("shelf/counts/", counts.count_list, name="counts-page"),
    path("shelf/counts/new/", counts.count_new, name="count-new-page"),
    path("shelf/counts/<slug:code>/", count_sheet.count_page, name="count-page"),
    path("shelf/counts/<slug:code>/lots/<slug:lot>/", count_sheet.enter_find, name="count-find"),
    path("shelf/counts/<slug:code>/close/", count_closing.close_page, name="count-close-page"),
    path("shelf/counts/<slug:code>/cancel/", count_closing.cancel_page, name="count-cancel-page"),
    path("shelf/locations/", locations.location_list, name="locations-page"),
    path("shelf/locations/new/", locations.location_new, name="location-new"),
    path("shelf/locations/<slug:code>/edit/", locations.location_edit, name="location-edit"),
    path("shelf/shipments/", shipments.shipment_list, name="shipments-page"),
    path("shelf/shipments/<slug:code>/", shipments.shipment_page, name="shipment-page"),
    path("shelf/shipments/<slug:code>/return/", shipments.return_page, name="shipment-return-page"),
    path("shelf/recalls/", recalls.recall_list, name="recalls-page"),
    path("shelf/recalls/<slug:code>/", recalls.recall_page, name="recall-page"),
    path("shelf/recalls/<slug:code>/lift/", recalls.lift_page, name="recall-lift-page"),
    path("shelf/materials/<slug:code>/", materials.material_page, name="material-page"),
    path(
        "shelf/materials/<slug:code>/history/",
        materials.material_history_page,
        name="material-history-page",
    ),
    path("shelf/lots/<slug:code>/", lots.lot_page, name="lot-page"),
    path("shelf/lots/<slug:code>/history/", lots.lot_history_page, name="lot-history-page"),
    path("shelf/lots/<slug:code>/release/", lot_holds.release_page, name="lot-release-page"),
    path(
        "shelf/lots/<slug:code>/quarantine/", lot_holds.quarantine_page, name="lot-quarantine-page"
    ),
    path("shelf/lots/<slug:code>/block/", lot_holds.hold_page, name="lot-block-page"),
    path("shelf/lots/<slug:code>/end-cure/", lot_holds.end_cure_page, name="lot-end-cure-page"),
    path("shelf/lots/<slug:code>/decide/", lot_holds.decide_page, name="lot-decide-page"),
    path("shelf/lots/<slug:code>/recall/", recalls.open_page, name="lot-recall-page"),
    path("shelf/lots/<slug:code>/spoil/", lot_verbs.spoil_page, name="lot-spoil-page"),
    path("shelf/lots/<slug:code>/count/", lot_verbs.count_page, name="lot-count-page"),
    path(
        "shelf/lots/<slug:code>/received-on/",
        lot_verbs.received_on_page,
        name="lot-received-on-page",
    ),
    path("shelf/lots/<slug:code>/move/", lot_verbs.move_page, name="lot-move-page"),
    path(
        "shelf/lots/<slug:code>/certificate/",
        lot_verbs.certificate_page,
        name="lot-certificate-page",
    ),
    path("start/materials/", first_materials, name="first-materials-page"),
    path("buying/", buying.buying, name="buying"),
    path("buying/alerts/", alerts.alert_list, name="alerts-page"),
    path("buying/alerts/look/", alerts.look_now, name="look-now"),
    path("buying/alerts/<int:number>/seen/", alerts.acknowledge_alert, name="acknowledge-alert"),
    path("buying/alerts/<int:number>/put-off/", alerts.snooze_alert, name="snooze-alert"),
    path("buying/plan/", buy_plans.new_buy_plan, name="buy-plan-new"),
    path(
        "buying/plans/asked/<int:number>/",
        buy_plans.buy_plan_job_page,
        name="buy-plan-job-page",
    ),
    path("buying/plans/<str:code>/", buy_plans.buy_plan_page, name="buy-plan-page"),
    path("buying/plans/<str:code>/order/", buy_plans.order_buy_plan, name="order-buy-plan"),
    path("buying/orders/", orders.order_list, name="purchase-orders-page"),
    path("buying/orders/<str:code>/", orders.order_page, name="purchase-order-page"),
    path("buying/orders/<str:code>/place/", orders.place_order_page, name="place-purchase-order"),
    path("buying/orders/<str:code>/close/", orders.close_order_page, name="close-purchase-order"),
    path(
        "buying/orders/<str:code>/cancel/", orders.cancel_order_page, name="cancel-purchase-order"
    ),
    path("buying/reorder/", policies.policy_list, name="policies-page"),
    path("buying/reorder/<str:code>/", policies.policy_page, name="policy-page"),
    path("buying/reorder/<str:code>/adopt/", policies.adopt_policy_page, name="adopt-policy"),
    path("buying/reorder/<str:code>/aims/", policies.aims_page, name="aims-page"),
    path("buying/aims/", policies.studio_aims_page, name="studio-aims-page"),
]
