"""The addresses of costing below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from costing.api.computing import ComputeCostView, ComputePriceView
from costing.api.costs import BatchCostView, FormulaCostView
from costing.api.customers import CustomerViewSet
from costing.api.profit import ProfitCsvView, ProfitView, ProfitXlsxView
from costing.api.quotes import QuoteLetterView, QuoteViewSet
from costing.api.rates import RateViewSet
from costing.api.sales_orders import AcceptQuoteViewSet, SalesOrderViewSet
from costing.api.sales_papers import InvoiceTableView, PickListPaperView
from costing.api.what_if import WhatIfView

router = SimpleRouter()
router.register("rates", RateViewSet, basename="rate")
router.register("customers", CustomerViewSet, basename="customer")
router.register("quotes", QuoteViewSet, basename="quote")
router.register("sales-orders", SalesOrderViewSet, basename="sales-order")

urlpatterns = [
    path("batches/<str:code>/cost/", BatchCostView.as_view(), name="batch-cost"),
    path("formulas/<str:code>/cost/", FormulaCostView.as_view(), name="formula-cost"),
    path("compute/cost/", ComputeCostView.as_view(), name="compute-cost"),
    path("quotes/<str:code>/letter.pdf", QuoteLetterView.as_view(), name="quote-letter"),
    path("compute/price/", ComputePriceView.as_view(), name="compute-price"),
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
