"""The addresses of the recipes below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from recipes.api.batches import BatchViewSet
from recipes.api.compute import DensityView, LyeView, MoldVolumeView, ScaleView
from recipes.api.formulas import FormulaViewSet
from recipes.api.molds import MoldViewSet
from recipes.api.versions import VersionViewSet

router = SimpleRouter()
router.register("molds", MoldViewSet, basename="mold")
router.register("formulas", FormulaViewSet, basename="formula")
router.register(r"formulas/(?P<code>[^/]+)/versions", VersionViewSet, basename="formula-version")
router.register("batches", BatchViewSet, basename="batch")

urlpatterns = [
    *router.urls,
    path("compute/lye/", LyeView.as_view(), name="compute-lye"),
    path("compute/mold-volume/", MoldVolumeView.as_view(), name="compute-mold-volume"),
    path("compute/scale/", ScaleView.as_view(), name="compute-scale"),
    path("compute/density/", DensityView.as_view(), name="compute-density"),
]
