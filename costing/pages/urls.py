"""The addresses of the pages of this app."""

from django.urls import path

from costing.pages.bar_cost.batch_costs import batch_cost_page
from costing.pages.bar_cost.packings import packing_edit, packing_name, packing_new, packings_page
from costing.pages.bar_cost.recipe_costs import (
    recipe_cost_fragment,
    recipe_cost_page,
    recipe_costs_page,
)
from costing.pages.bar_cost.standards import standard_new, standards_page
from costing.pages.orders import leaving as orders_leaving
from costing.pages.orders import new as quotes_answers
from costing.pages.orders import orders
from costing.pages.orders.new import order_new
from costing.pages.prices.price_setting import price_history_page, price_set
from costing.pages.prices.prices import price_list
from costing.pages.prices.products import product_edit, product_new, product_page
from costing.pages.prices.tiers import tier_edit, tier_new, tiers_page, tiers_start
from costing.pages.profit.profit import break_even_page, profit_page
from costing.pages.quotes import customers, quotes
from costing.pages.rates.set_up import (
    fee_new,
    fees_page,
    late_rates_page,
    rate_new,
    rates_page,
    set_up_page,
)
from costing.pages.what_if.what_if import what_if_answer, what_if_ask, what_if_page

selling = [
    path("customers/", customers.customer_list, name="customers"),
    path("customers/new/", customers.customer_new, name="customer-new-page"),
    path("customers/<slug:code>/", customers.customer_page, name="customer-page"),
    path("customers/<slug:code>/change/", customers.customer_edit, name="customer-edit-page"),
    path("quotes/", quotes.quote_list, name="quotes"),
    path("quotes/new/", quotes.quote_new, name="quote-new-page"),
    path("quotes/<slug:code>/", quotes.quote_page, name="quote-page"),
    path("quotes/<slug:code>/change/", quotes.quote_edit, name="quote-edit-page"),
    path("quotes/<slug:code>/again/", quotes.quote_again, name="quote-again-page"),
    path("quotes/<slug:code>/revise/", quotes.quote_revise, name="quote-revise-page"),
    path("quotes/<slug:code>/send/", quotes_answers.quote_send, name="quote-send-page"),
    path("quotes/<slug:code>/accept/", quotes_answers.quote_accept, name="quote-accept-page"),
    path("quotes/<slug:code>/decline/", quotes_answers.quote_decline, name="quote-decline-page"),
    path("orders/", orders.order_list, name="orders"),
    path("orders/new/", order_new, name="order-new-page"),
    path("orders/<slug:code>/", orders.order_page, name="order-page"),
    path("orders/<slug:code>/picks/", orders.order_picks, name="order-picks-page"),
    path("orders/<slug:code>/plan/", orders.order_plan, name="order-plan-page"),
    path("orders/<slug:code>/hold-free/", orders.order_hold_free, name="order-hold-free-page"),
    path("orders/<slug:code>/hold/", orders.order_hold, name="order-hold-page"),
    path("orders/<slug:code>/give-back/", orders.order_give_back, name="order-give-back-page"),
    path("orders/<slug:code>/ship/", orders_leaving.order_ship, name="order-ship-page"),
    path("orders/<slug:code>/back/", orders_leaving.order_back, name="order-back-page"),
    path("orders/<slug:code>/end/", orders_leaving.order_end, name="order-end-page"),
]
urlpatterns = [
    path("prices/", price_list, name="prices"),
    path("prices/recipes/", recipe_costs_page, name="recipe-costs-page"),
    path("prices/what-if/", what_if_page, name="what-if-page"),
    path("prices/what-if/ask/", what_if_ask, name="what-if-ask"),
    path("prices/what-if/<int:number>/", what_if_answer, name="what-if-answer-page"),
    path("prices/profit/", profit_page, name="profit-page"),
    path("prices/break-even/", break_even_page, name="break-even-page"),
    path("prices/setup/", set_up_page, name="cost-setup-page"),
    path("prices/setup/rates/", rates_page, name="rates-page"),
    path("prices/setup/rates/new/", rate_new, name="rate-new"),
    path("prices/setup/rates/late/", late_rates_page, name="late-rates-page"),
    path("prices/setup/labor/", standards_page, name="standards-page"),
    path("prices/setup/labor/new/", standard_new, name="standard-new"),
    path("prices/setup/fees/", fees_page, name="fees-page"),
    path("prices/setup/fees/new/", fee_new, name="fee-new"),
    path("prices/setup/packing/", packings_page, name="packings-page"),
    path("prices/setup/packing/new/", packing_new, name="packing-new"),
    path("prices/setup/packing/<slug:code>/", packing_edit, name="packing-edit"),
    path("prices/setup/packing/<slug:code>/name/", packing_name, name="packing-name"),
    path("prices/setup/tiers/", tiers_page, name="tiers-page"),
    path("prices/setup/tiers/start/", tiers_start, name="tiers-start"),
    path("prices/setup/tiers/new/", tier_new, name="tier-new"),
    path("prices/setup/tiers/<slug:code>/", tier_edit, name="tier-edit"),
    path("prices/setup/products/new/", product_new, name="product-new"),
    path("prices/<slug:code>/product/edit/", product_edit, name="product-edit"),
    path("prices/<slug:code>/set/", price_set, name="price-set"),
    path("prices/<slug:code>/history/", price_history_page, name="price-history-page"),
    path("prices/<slug:code>/product/", product_page, name="product-page"),
    path("recipes/<slug:code>/cost/", recipe_cost_page, name="recipe-cost-page"),
    path("recipes/<slug:code>/cost-fragment/", recipe_cost_fragment, name="recipe-cost-fragment"),
    path("batches/<slug:code>/cost/", batch_cost_page, name="batch-cost-page"),
    *selling,
]
