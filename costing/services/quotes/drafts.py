"""Drafts of quotes: written, changed, worked out again, and made anew of one that was sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction

from costing.errors import QuoteRefusal, QuoteSettled
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer, Quote, QuoteLine, QuoteState
from costing.services.quotes.history import expect, lines_of, lock_quote, tell
from costing.services.quotes.lines import work_out
from recipes.domain.weighing import MOST_BARS
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY
from studio.foundation.units.writing import how_many
from studio.models import Unchanged
from studio.work.cleaning import take_field_faults
from studio.work.numbering import next_code

PREFIX = "Q"
USUAL_DAYS_VALID = 30
MOST_LINES = 200
_LATER = (QuoteState.SENT, QuoteState.DECLINED, QuoteState.EXPIRED)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineDescription:
    """Bars of a product by its code; `price` (of a bar, ten-thousandths) and `bars_per_carton`
    where they are not those of the price list and the packaging set."""

    product: str
    quantity: int
    price: int | None = None
    bars_per_carton: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteDescription:
    """All that a person says of a quote; what is None follows from the customer and the day.

    `discount` and `tax_share` are shares of 1, `freight` is money in ten-thousandths.
    """

    customer: str
    lines: Sequence[LineDescription]
    valid_until: date | None = None
    wanted_on: date | None = None
    discount: Decimal | None = None
    freight: int = 0
    tax_share: Decimal | None = None
    terms: str | None = None
    note: str = ""


@transaction.atomic
def draft_quote(described: QuoteDescription, *, on: date, by: By = None) -> Quote:
    """Write a draft, worked out for a day.

    Raises QuoteRefusal with every fault: unknown or inactive customer and products, quantities,
    days, shares, lines without a price or a carton size.
    """
    quote = Quote(by=by, quoted_on=on)
    lines = _described(quote, described, on=on)
    work_out(quote, lines, on=on)
    quote.code = next_code(PREFIX)
    quote.save()
    _save_lines(quote, lines)
    tell(quote, by=by)
    return quote


@transaction.atomic
def change_quote(
    code: str, described: QuoteDescription, *, on: date, unchanged: Unchanged | None = None
) -> Quote:
    """Keep a draft as described, worked out for a day. Raises QuoteSettled, as `draft_quote`."""
    quote = lock_quote(code)
    if unchanged is not None:
        unchanged(quote)
    expect(quote, QuoteState.DRAFT, doing="changed")
    quote.quoted_on = on
    lines = _described(quote, described, on=on)
    work_out(quote, lines, on=on)
    quote.revision += 1
    quote.save()
    quote.lines.all().delete()
    _save_lines(quote, lines)
    return quote


@transaction.atomic
def recalculate(code: str, *, on: date) -> Quote:
    """Work a draft out again with the prices, costs and stock of a day. Raises QuoteSettled,
    QuoteRefusal where a price is no longer there."""
    quote = lock_quote(code)
    expect(quote, QuoteState.DRAFT, doing="worked out again")
    quote.quoted_on = on
    quote.valid_until = max(quote.valid_until, on)
    lines = lines_of(quote)
    work_out(quote, lines, on=on)
    quote.revision += 1
    quote.save()
    save_worked_out(lines)
    return quote


@transaction.atomic
def revise_quote(code: str, *, on: date, by: By = None) -> Quote:
    """A new draft with the same lines, at the prices of a day; once sent it replaces the old one.

    Until then the old quote stays as it is and may still be accepted. Raises QuoteSettled for a
    draft, for one that was accepted, and where a draft of it is there already.
    """
    old = lock_quote(code)
    expect(old, *_LATER, doing="revised")
    waiting = old.replaced_by.filter(state=QuoteState.DRAFT).first()
    if waiting is not None:
        raise QuoteSettled(
            f"Quote {waiting.code} is a draft of it already: change that one.", field="quote"
        )
    quote, lines = _again(old, on=on)
    quote.by = by
    work_out(quote, lines, on=on)
    quote.save()
    _save_lines(quote, lines)
    tell(quote, by=by, note=f"Revises {old.code}.")
    return quote


def _again(old: Quote, *, on: date) -> tuple[Quote, list[QuoteLine]]:
    """A new quote with what was said of an old one, valid for as long."""
    quote = Quote(
        code=next_code(PREFIX),
        customer=old.customer,
        replaces=old,
        quoted_on=on,
        valid_until=on + (old.valid_until - old.quoted_on),
        wanted_on=old.wanted_on if old.wanted_on and old.wanted_on >= on else None,
        discount=old.discount,
        freight=old.freight,
        tax_share=old.tax_share,
        tax_included=old.tax_included,
        terms=old.terms,
        note=old.note,
    )
    lines = [
        QuoteLine(
            position=line.position,
            product=line.product,
            tier=line.tier,
            quantity=line.quantity,
            own_price=line.own_price,
            own_carton=line.own_carton,
        )
        for line in lines_of(old)
    ]
    return quote, lines


def save_worked_out(lines: Sequence[QuoteLine]) -> None:
    """Save what `work_out` filled in on lines that are kept already. One query."""
    QuoteLine.objects.bulk_update(
        lines,
        [
            "list_price", "price", "bars_per_carton", "amount", "cost_actual", "cost_replacement",
            "fees", "floor", "floor_at_least", "promised_on", "promise",
        ],
    )  # fmt: skip


def _save_lines(quote: Quote, lines: Sequence[QuoteLine]) -> None:
    for line in lines:
        line.quote = quote
    QuoteLine.objects.bulk_create(lines)


def terms_of(customer: Customer) -> str:
    """The words for a customer's terms of payment: their own, else by the days."""
    if customer.terms:
        return customer.terms
    if not customer.terms_days:
        return "Payment is due with the order."
    return f"Payment is due within {how_many(customer.terms_days, 'day')} of the invoice."


def _described(quote: Quote, described: QuoteDescription, *, on: date) -> list[QuoteLine]:
    """Put what was said on the quote, and make its lines. Raises QuoteRefusal with every fault."""
    faults = Faults()
    customer = Customer.objects.select_related("tier").filter(code=described.customer).first()
    if customer is None:
        faults.add("not-found", f"There is no customer {described.customer}.", "customer")
    elif not customer.active:
        faults.add("not-active", f"{customer.name} is not sold to any more.", "customer")
    lines = _lines(described.lines, faults)
    _check(described, faults, on=on)
    if customer is not None:
        _fill(quote, customer, described)
        for line in lines:
            line.tier = customer.tier
        take_field_faults(faults, quote, only=("terms", "note"))
    faults.raise_if_any(QuoteRefusal)
    return lines


def _fill(quote: Quote, customer: Customer, described: QuoteDescription) -> None:
    tier, exempt = customer.tier, customer.tax_exempt
    usual_tax = Decimal(0) if exempt else tier.tax_share
    quote.customer = customer
    quote.valid_until = described.valid_until or quote.quoted_on + timedelta(USUAL_DAYS_VALID)
    quote.wanted_on = described.wanted_on
    quote.discount = customer.discount if described.discount is None else described.discount
    quote.freight = described.freight
    quote.tax_share = usual_tax if described.tax_share is None else described.tax_share
    quote.tax_included = tier.tax_included and not exempt
    quote.terms = terms_of(customer) if described.terms is None else described.terms
    quote.note = described.note


def _check(described: QuoteDescription, faults: Faults, *, on: date) -> None:
    if described.valid_until is not None and described.valid_until < on:
        faults.add("in-the-past", f"A quote is valid until {on} or later.", "valid_until")
    if described.wanted_on is not None and described.wanted_on < on:
        faults.add("in-the-past", "A day for delivery is still to come.", "wanted_on")
    for name in ("discount", "tax_share"):
        share = getattr(described, name)
        if share is not None and not 0 <= share < 1:
            faults.add("out-of-range", "It is at least 0 and less than 1.", name)
    if not 0 <= described.freight <= MAX_MONEY // 4:
        faults.add("out-of-range", "Freight is not below zero, nor too large.", "freight")
    if not 1 <= len(described.lines) <= MOST_LINES:
        faults.add("no-lines", f"A quote has from 1 to {MOST_LINES} lines.", "lines")


def _lines(described: Sequence[LineDescription], faults: Faults) -> list[QuoteLine]:
    rows = Product.objects.select_related("formula").filter(
        code__in={line.product for line in described}
    )
    products = {row.code: row for row in rows}
    lines = []
    for index, each in enumerate(described):
        path = f"lines.{index}"
        product = products.get(each.product)
        if product is None:
            faults.add("not-found", f"There is no product {each.product}.", f"{path}.product")
            continue
        if not product.active:
            faults.add("not-active", f"{product.name} is not sold now.", f"{path}.product")
        if not 1 <= each.quantity <= MOST_BARS:
            faults.add("out-of-range", f"From 1 to {MOST_BARS} bars.", f"{path}.quantity")
        if each.bars_per_carton is not None and not 1 <= each.bars_per_carton <= MOST_BARS:
            faults.add("out-of-range", "At least one bar.", f"{path}.bars_per_carton")
        if each.price is not None and not 0 < each.price <= MAX_MONEY // MOST_BARS:
            faults.add("out-of-range", "A price is above zero, nor too large.", f"{path}.price")
        lines.append(
            QuoteLine(
                position=index + 1,
                product=product,
                quantity=each.quantity,
                own_price=each.price,
                own_carton=each.bars_per_carton,
            )
        )
    return lines
