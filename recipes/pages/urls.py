"""The addresses of the recipes' pages."""

from django.urls import path

from recipes.pages.mold_edit import mold_edit, mold_holds, mold_new
from recipes.pages.molds import mold_list, mold_page
from recipes.pages.recipe_differences import differences_page
from recipes.pages.recipe_edit import (
    recipe_draft,
    recipe_new,
    version_edit,
    version_first,
    version_new,
)
from recipes.pages.recipe_page import recipe_page
from recipes.pages.recipes import recipe_list
from recipes.pages.scale import plan_page, scale_page
from recipes.pages.sheet import sheet_page

urlpatterns = [
    path("recipes/", recipe_list, name="recipes"),
    path("recipes/new/", recipe_new, name="recipe-new"),
    path("recipes/new/totals/", recipe_draft, name="recipe-draft"),
    path("recipes/molds/", mold_list, name="molds"),
    path("recipes/molds/new/", mold_new, name="mold-new"),
    path("recipes/molds/new/holds/", mold_holds, name="mold-holds"),
    path("recipes/molds/<slug:code>/", mold_page, name="mold-page"),
    path("recipes/molds/<slug:code>/edit/", mold_edit, name="mold-edit"),
    path("recipes/<slug:code>/", recipe_page, name="recipe-page"),
    path("recipes/<slug:code>/versions/first/", version_first, name="version-first"),
    path("recipes/<slug:code>/versions/<int:number>/edit/", version_edit, name="version-edit"),
    path("recipes/<slug:code>/versions/<int:number>/next/", version_new, name="version-new"),
    path("recipes/<slug:code>/differences/", differences_page, name="version-differences"),
    path("recipes/<slug:code>/scale/", scale_page, name="scale-page"),
    path("recipes/<slug:code>/plan/", plan_page, name="scale-plan"),
    path("batches/<slug:code>/sheet/", sheet_page, name="batch-sheet-page"),
]
