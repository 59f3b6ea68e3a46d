"""The addresses of the pages of this app."""

from django.urls import path

from inventory.pages.start import first_materials

urlpatterns = [
    path("start/materials/", first_materials, name="first-materials-page"),
]
