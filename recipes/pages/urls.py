"""The addresses of the recipes' pages."""

from django.urls import path

from recipes.pages.bench.batch import (
    batch_page,
    cancel_page,
    give_back_page,
    reserve_page,
    sheet_page,
)
from recipes.pages.bench.batch_list import batch_list
from recipes.pages.bench.bench import bench_page, reading_fragment, weigh_page
from recipes.pages.bench.cautions import cautions_page
from recipes.pages.bench.choosing import choose_page
from recipes.pages.bench.pour import pour_page, record_page
from recipes.pages.cure.cure import cure_date_page, cure_page, cure_weigh_page
from recipes.pages.cure.cut import cut_page
from recipes.pages.cure.release import release_page
from recipes.pages.formulas.edit import (
    recipe_draft,
    recipe_new,
    version_edit,
    version_first,
    version_new,
)
from recipes.pages.formulas.recipe import (
    differences_page,
    make_current_page,
    recipe_history_page,
    recipe_list,
    recipe_page,
    recipe_settings,
)
from recipes.pages.formulas.worst import accept_worst_page
from recipes.pages.levels.batch_parts import parts_page, plan_parts_page
from recipes.pages.molds.molds import mold_edit, mold_holds, mold_list, mold_new, mold_page
from recipes.pages.scales.scales import scale_edit, scale_list, scale_new
from recipes.pages.scaling.scale import plan_page, scale_page

urlpatterns = [
    path("recipes/", recipe_list, name="recipes"),
    path("recipes/new/", recipe_new, name="recipe-new"),
    path("recipes/new/totals/", recipe_draft, name="recipe-draft"),
    path("recipes/molds/", mold_list, name="molds"),
    path("recipes/molds/new/", mold_new, name="mold-new"),
    path("recipes/molds/new/holds/", mold_holds, name="mold-holds"),
    path("recipes/molds/<slug:code>/", mold_page, name="mold-page"),
    path("recipes/molds/<slug:code>/edit/", mold_edit, name="mold-edit"),
    path("recipes/scales/", scale_list, name="scales-page"),
    path("recipes/scales/new/", scale_new, name="scale-new"),
    path("recipes/scales/<slug:code>/edit/", scale_edit, name="scale-edit"),
    path("recipes/<slug:code>/", recipe_page, name="recipe-page"),
    path("recipes/<slug:code>/versions/first/", version_first, name="version-first"),
    path("recipes/<slug:code>/versions/<int:number>/edit/", version_edit, name="version-edit"),
    path("recipes/<slug:code>/versions/<int:number>/next/", version_new, name="version-new"),
    path(
        "recipes/<slug:code>/versions/<int:number>/make-current/",
        make_current_page,
        name="version-make-current",
    ),
    path(
        "recipes/<slug:code>/versions/<int:number>/accept-worst/",
        accept_worst_page,
        name="version-accept-worst",
    ),
    path("recipes/<slug:code>/differences/", differences_page, name="version-differences"),
    path("recipes/<slug:code>/history/", recipe_history_page, name="recipe-history-page"),
    path("recipes/<slug:code>/settings/", recipe_settings, name="recipe-settings-page"),
    path("recipes/<slug:code>/scale/", scale_page, name="scale-page"),
    path("recipes/<slug:code>/plan/", plan_page, name="scale-plan"),
    path("batches/", batch_list, name="batches"),
    path("batches/<slug:code>/", batch_page, name="batch-page"),
    path("batches/<slug:code>/reserve/", reserve_page, name="batch-reserve-page"),
    path("batches/<slug:code>/choose/", choose_page, name="batch-choose-page"),
    path("batches/<slug:code>/give-back/", give_back_page, name="batch-give-back-page"),
    path("batches/<slug:code>/cancel/", cancel_page, name="batch-cancel-page"),
    path("batches/<slug:code>/parts/", parts_page, name="batch-parts-page"),
    path("batches/<slug:code>/parts/plan/", plan_parts_page, name="batch-plan-parts-page"),
    path("batches/<slug:code>/bench/", bench_page, name="bench-page"),
    path("batches/<slug:code>/bench/weigh/", weigh_page, name="bench-weigh-page"),
    path("batches/<slug:code>/bench/reading/", reading_fragment, name="bench-reading"),
    path("batches/<slug:code>/bench/cautions/", cautions_page, name="bench-cautions-page"),
    path("batches/<slug:code>/bench/record/", record_page, name="bench-record-page"),
    path("batches/<slug:code>/pour/", pour_page, name="pour-page"),
    path("batches/<slug:code>/cut/", cut_page, name="cut-page"),
    path("batches/<slug:code>/cure/", cure_page, name="cure-page"),
    path("batches/<slug:code>/cure/weigh/", cure_weigh_page, name="cure-weigh-page"),
    path("batches/<slug:code>/cure/date/", cure_date_page, name="cure-date-page"),
    path("batches/<slug:code>/release/", release_page, name="release-page"),
    path("batches/<slug:code>/sheet/", sheet_page, name="batch-sheet-page"),
]
