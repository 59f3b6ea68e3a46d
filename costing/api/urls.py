"""The addresses of costing below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from costing.api.bar_cost.comparisons import BatchVariancesView, CostSpreadView, MoldCostsView
from costing.api.bar_cost.computing import ComputeCostView, ComputePriceView
from costing.api.bar_cost.costs import BatchCostView, FormulaCostView, ProductCostView
from costing.api.bar_cost.labor_standards import LaborStandardViewSet
from costing.api.bar_cost.packaging_sets import PackagingSetViewSet
from costing.api.orders.orders import (
    AcceptQuoteViewSet,
    InvoiceTableView,
    PickListPaperView,
    SalesOrderViewSet,
)
from costing.api.prices.entries import PriceEntryViewSet, PriceHistoryViewSet
from costing.api.prices.ladder import MarginWatchView, PriceLadderView, SuggestedPricesView
from costing.api.prices.products import ProductViewSet, TierViewSet
from costing.api.profit.break_even import BreakEvenView, MinimumOrderView
from costing.api.profit.profit import ProfitCsvView, ProfitView, ProfitXlsxView
from costing.api.quotes.customers import CustomerViewSet
from costing.api.quotes.quotes import QuoteLetterView, QuoteViewSet
from costing.api.rates.rates import FeeViewSet, LateRatesViewSet, RateViewSet
from costing.api.what_if.what_if import WhatIfView

router = SimpleRouter()
router.register("rates", RateViewSet, basename="rate")
router.register("labor-standards", LaborStandardViewSet, basename="labor-standard")
router.register("fees", FeeViewSet, basename="fee")
router.register("packaging-sets", PackagingSetViewSet, basename="packaging-set")
router.register("products", ProductViewSet, basename="product")
router.register("customers", CustomerViewSet, basename="customer")
router.register("quotes", QuoteViewSet, basename="quote")
router.register("sales-orders", SalesOrderViewSet, basename="sales-order")
router.register("tiers", TierViewSet, basename="tier")
router.register("price-entries", PriceEntryViewSet, basename="price-entry")
router.register(
    r"price-entries/(?P<id>[0-9]{1,18})/history", PriceHistoryViewSet, basename="price-history"
)

urlpatterns = [
    path(
        "late-rates/",
        LateRatesViewSet.as_view({"get": "waiting", "post": "enter"}),
        name="late-rates",
    ),
    path("compute/break-even/", BreakEvenView.as_view(), name="compute-break-even"),
    path("compute/minimum-order/", MinimumOrderView.as_view(), name="compute-minimum-order"),
    path("price-ladder/", PriceLadderView.as_view(), name="price-ladder"),
    path("price-suggestions/", SuggestedPricesView.as_view(), name="price-suggestions"),
    path("margin-watch/", MarginWatchView.as_view(), name="margin-watch"),
    path("batches/<str:code>/cost/", BatchCostView.as_view(), name="batch-cost"),
    path("batches/<str:code>/variances/", BatchVariancesView.as_view(), name="batch-variances"),
    path("formulas/<str:code>/cost-spread/", CostSpreadView.as_view(), name="formula-cost-spread"),
    path("formulas/<str:code>/mold-costs/", MoldCostsView.as_view(), name="formula-mold-costs"),
    path("products/<str:code>/cost/", ProductCostView.as_view(), name="product-cost"),
    path("formulas/<str:code>/cost/", FormulaCostView.as_view(), name="formula-cost"),
    path("compute/cost/", ComputeCostView.as_view(), name="compute-cost"),
    path("compute/price/", ComputePriceView.as_view(), name="compute-price"),
    path("quotes/<str:code>/letter.pdf", QuoteLetterView.as_view(), name="quote-letter"),
    path("what-if/", WhatIfView.as_view(), name="what-if"),
    path(
        "quotes/<str:code>/accept/",
        AcceptQuoteViewSet.as_view({"post": "accept"}),
        name="quote-accept",
    ),
    path(
        "sales-orders/<str:code>/pick-list.pdf",
        PickListPaperView.as_view(),
        name="sales-order-picks-pdf",
    ),
    path(
        "sales-orders/<str:code>/invoice.csv",
        InvoiceTableView.as_view(),
        name="sales-order-invoice",
    ),
    path("profit/", ProfitView.as_view(), name="profit"),
    path("profit.csv", ProfitCsvView.as_view(), name="profit-csv"),
    path("profit.xlsx", ProfitXlsxView.as_view(), name="profit-xlsx"),
    *router.urls,
]
