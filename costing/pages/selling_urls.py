"""The addresses of quotes, orders and customers."""

from django.urls import path

from costing.pages.orders import leaving as orders_leaving
from costing.pages.orders import orders
from costing.pages.orders import quote_answers as quotes_answers
from costing.pages.orders.new import order_new
from costing.pages.quotes import customers, quotes

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
