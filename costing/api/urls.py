"""The addresses of costing below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from costing.api.break_even import BreakEvenView, MinimumOrderView
from costing.api.comparisons import BatchVariancesView, CostSpreadView, MoldCostsView
from costing.api.computing import ComputeCostView, ComputePriceView
from costing.api.costs import BatchCostView, FormulaCostView
from costing.api.customers import CustomerViewSet
from costing.api.fees import FeeViewSet
from costing.api.labor_standards import LaborStandardViewSet
from costing.api.packaging_sets import PackagingSetViewSet
from costing.api.price_entries import PriceEntryViewSet
from costing.api.price_ladder import MarginWatchView, PriceLadderView, SuggestedPricesView
from costing.api.product_cost import ProductCostView
from costing.api.products import ProductViewSet
from costing.api.profit import ProfitCsvView, ProfitView, ProfitXlsxView
from costing.api.quotes import QuoteLetterView, QuoteViewSet
from costing.api.rates import RateViewSet
from costing.api.sales_orders import AcceptQuoteViewSet, SalesOrderViewSet
from costing.api.sales_papers import InvoiceTableView, PickListPaperView
from costing.api.tiers import TierViewSet
from costing.api.what_if import WhatIfView

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

urlpatterns = [
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
