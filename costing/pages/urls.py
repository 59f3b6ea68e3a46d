"""The addresses of the pages of this app."""

from costing.pages.quotes_urls import selling

urlpatterns = [*selling]
