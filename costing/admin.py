"""Customers and quotes to look at. Nothing is changed here: the services hold the rules, and what
was sent is frozen."""

from costing.models.quotes.quotes import Customer, Quote, QuoteEvent, QuoteLine, QuoteMail
from studio.web.read_only_admin import lines_of, look_only

look_only(
    Customer,
    "code name tier discount tax_exempt active",
    filters="tier active tax_exempt",
    search="code name email",
)
look_only(
    Quote,
    "code customer state quoted_on valid_until total",
    filters="state",
    search="code customer__name",
    lines=(lines_of(QuoteLine), lines_of(QuoteEvent), lines_of(QuoteMail)),
)
