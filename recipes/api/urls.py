"""The addresses of the recipes below /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from recipes.api.bench.batches import BatchViewSet
from recipes.api.bench.bench import BenchViewSet, SheetPaperView
from recipes.api.bench.portions import BatchDrawingView, BatchPortionsView, MoldDrawingView
from recipes.api.cure.cure import CureDrawingView, CureViewSet
from recipes.api.formulas.formulas import FormulaHistoryViewSet, FormulaViewSet, VersionViewSet
from recipes.api.labels.labels import BarLabelView, BarSheetView, BatchSheetView, LotSheetView
from recipes.api.levels.explosion import ExplosionViewSet, TreeViewSet
from recipes.api.molds.molds import MoldViewSet
from recipes.api.scales.scales import ScaleViewSet
from recipes.api.scaling.compute import MoldVolumeView, ScaleView
from recipes.api.scaling.compute_lye import DensityView, LyeView

router = SimpleRouter()
router.register("molds", MoldViewSet, basename="mold")
router.register("scales", ScaleViewSet, basename="scale")
router.register("formulas", FormulaViewSet, basename="formula")
router.register(r"formulas/(?P<code>[^/]+)/versions", VersionViewSet, basename="formula-version")
router.register(
    r"formulas/(?P<code>[^/]+)/history", FormulaHistoryViewSet, basename="formula-history"
)
router.register("formulas", ExplosionViewSet, basename="formula-explosion")
# Before the batches, of which one could be named "tree".
router.register("batches", TreeViewSet, basename="batch-tree")
router.register("batches", BatchViewSet, basename="batch")
router.register("batches", BenchViewSet, basename="batch-bench")
router.register("batches", CureViewSet, basename="batch-cure")

urlpatterns = [
    *router.urls,
    path("batches/<str:code>/label/", BarLabelView.as_view(), name="bar-label"),
    path("batches/<str:code>/bar-labels.pdf", BarSheetView.as_view(), name="bar-label-sheet"),
    path("batches/<str:code>/rack-labels.pdf", BatchSheetView.as_view(), name="rack-label-sheet"),
    path("lots/<str:code>/labels.pdf", LotSheetView.as_view(), name="lot-label-sheet"),
    path("batches/<str:code>/portions/", BatchPortionsView.as_view(), name="batch-portions"),
    path("batches/<str:code>/drawing.svg", BatchDrawingView.as_view(), name="batch-drawing"),
    path("molds/<str:code>/drawing.svg", MoldDrawingView.as_view(), name="mold-drawing"),
    path("batches/<str:code>/cure.svg", CureDrawingView.as_view(), name="batch-cure-drawing"),
    path("batches/<str:code>/sheet.pdf", SheetPaperView.as_view(), name="batch-sheet-paper"),
    path("compute/lye/", LyeView.as_view(), name="compute-lye"),
    path("compute/mold-volume/", MoldVolumeView.as_view(), name="compute-mold-volume"),
    path("compute/scale/", ScaleView.as_view(), name="compute-scale"),
    path("compute/density/", DensityView.as_view(), name="compute-density"),
]
