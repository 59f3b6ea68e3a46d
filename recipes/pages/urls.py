"""The addresses of the recipes' pages."""

from django.urls import path

from recipes.pages.sheet import sheet_page

urlpatterns = [
    path("batches/<slug:code>/sheet/", sheet_page, name="batch-sheet-page"),
]
