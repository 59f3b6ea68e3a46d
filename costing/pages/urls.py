"""The addresses of the pages of this app."""

from django.urls import path

from costing.pages.batch_costs import batch_cost_page
from costing.pages.cost_fragment import recipe_cost_fragment
from costing.pages.price_setting import price_set
from costing.pages.prices import price_list
from costing.pages.products import product_page
from costing.pages.quotes_urls import selling
from costing.pages.recipe_costs import recipe_cost_page, recipe_costs_page

urlpatterns = [
    path("prices/", price_list, name="prices"),
    path("prices/recipes/", recipe_costs_page, name="recipe-costs-page"),
    path("prices/<slug:code>/set/", price_set, name="price-set"),
    path("prices/<slug:code>/product/", product_page, name="product-page"),
    path("recipes/<slug:code>/cost/", recipe_cost_page, name="recipe-cost-page"),
    path("recipes/<slug:code>/cost-fragment/", recipe_cost_fragment, name="recipe-cost-fragment"),
    path("batches/<slug:code>/cost/", batch_cost_page, name="batch-cost-page"),
    *selling,
]
