"""The addresses of costing below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from costing.api.computing import ComputeCostView, ComputePriceView
from costing.api.costs import BatchCostView, FormulaCostView
from costing.api.customers import CustomerViewSet
from costing.api.rates import RateViewSet

router = SimpleRouter()
router.register("rates", RateViewSet, basename="rate")
router.register("customers", CustomerViewSet, basename="customer")

urlpatterns = [
    path("batches/<str:code>/cost/", BatchCostView.as_view(), name="batch-cost"),
    path("formulas/<str:code>/cost/", FormulaCostView.as_view(), name="formula-cost"),
    path("compute/cost/", ComputeCostView.as_view(), name="compute-cost"),
    path("compute/price/", ComputePriceView.as_view(), name="compute-price"),
    *router.urls,
]
