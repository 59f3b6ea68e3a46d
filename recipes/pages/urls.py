"""The addresses of the recipes' pages."""

from django.urls import path

from recipes.pages.recipes import recipe_list
from recipes.pages.scale import plan_page, scale_page
from recipes.pages.sheet import sheet_page

urlpatterns = [
    path("recipes/", recipe_list, name="recipes"),
    path("recipes/<slug:code>/scale/", scale_page, name="scale-page"),
    path("recipes/<slug:code>/plan/", plan_page, name="scale-plan"),
    path("batches/<slug:code>/sheet/", sheet_page, name="batch-sheet-page"),
]
