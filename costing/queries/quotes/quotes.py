"""Quotes with all that is shown of them."""

from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db.models import Prefetch, QuerySet

from costing.domain.quotes.quoting import Asked, Tax, margin_left
from costing.models.quotes.quotes import Customer, Quote, QuoteLine, QuoteState
from costing.queries.prices.sale_floors import Offered
from studio.foundation.errors import NotFound
from studio.foundation.money import PLACES, currency_digits


def quotes() -> "QuerySet[Quote]":
    """Quotes with customer, lines, history and mails, the newest first. Five queries."""
    lines = QuoteLine.objects.select_related("product", "tier").order_by("position")
    return (
        Quote.objects.select_related("customer__tier", "by", "override_by", "replaces")
        .prefetch_related(Prefetch("lines", lines), "events__by", "mails", "replaced_by")
        .order_by("-id")
    )


def find_quote(code: str) -> Quote:
    """One quote as `quotes` shows it. Raises NotFound."""
    quote = quotes().filter(code=code).first()
    if quote is None:
        raise NotFound(f"There is no quote {code}.", field="quote")
    return quote


def expired_by(on: date) -> list[int]:
    """The ids of sent quotes whose last day is over on a day, in their order. One query."""
    over = Quote.objects.filter(state=QuoteState.SENT, valid_until__lt=on).order_by("pk")
    return list(over.values_list("pk", flat=True))


def money_unit() -> int:
    """The smallest amount that customers see, in ten-thousandths: a cent is 100."""
    unit: int = 10 ** (PLACES - currency_digits(settings.STUDIO_CURRENCY))
    return unit


def tax_of(quote: Quote) -> Tax:
    """The quote's tax as the rules see it."""
    return Tax(share=quote.tax_share, included=quote.tax_included)


def asked_of(quote: Quote, line: QuoteLine) -> Asked:
    """What a line asks, beside its floor."""
    return Asked(
        price=line.price,
        floor=line.floor,
        discount=quote.discount,
        at_least=line.floor_at_least,
    )


def offered_of(quote: Quote, line: QuoteLine) -> Offered:
    """A line beside its floor. Lines come with product and tier."""
    return Offered(
        position=line.position,
        product=line.product,
        tier=line.tier,
        price=line.price,
        asked=asked_of(quote, line),
        cost_actual=line.cost_actual,
        cost_replacement=line.cost_replacement,
    )


def margins_of(quote: Quote, line: QuoteLine) -> tuple[Decimal | None, Decimal | None]:
    """The line's margin on actual and on replacement cost, after the fees of the sale."""

    def margin(cost: int | None) -> Decimal | None:
        return margin_left(
            line.amount,
            quantity=line.quantity,
            cost=cost,
            fees=line.fees or 0,
            tax=tax_of(quote),
        )

    return margin(line.cost_actual), margin(line.cost_replacement)


def find_customer(code: str) -> Customer:
    """The customer with this code, with the tier. One query. Raises NotFound."""
    customer = Customer.objects.select_related("tier").filter(code=code).first()
    if customer is None:
        raise NotFound(f"There is no customer {code}.", field="customer")
    return customer
