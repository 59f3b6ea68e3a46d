"""Quotes from the draft to the answer: prices, floors, states, and what never changes again."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone

from costing.domain.rates.rates import RateKind
from costing.errors import (
    OverrideNotAllowed,
    QuoteExpired,
    QuoteRefusal,
    QuoteSettled,
    QuoteUnderFloor,
)
from costing.models.prices.prices import PriceEntry, Tier
from costing.models.quotes.quotes import Quote, QuoteLine
from costing.models.rates.rates import Rate
from costing.queries.prices.margin_watch import slipped
from costing.queries.quotes.quotes import find_quote, margins_of
from costing.services.prices.floor_word import LONGEST_WORD
from costing.services.prices.margin_watch import fallen_margins
from costing.services.quotes.drafts import (
    LineDescription,
    QuoteDescription,
    change_quote,
    draft_quote,
    recalculate,
    revise_quote,
)
from costing.services.quotes.letter import letter_pdf
from costing.services.quotes.quotes import decline_quote, expire_quotes, mark_accepted, send_quote
from costing.services.rates.rates import FeeDescription, save_fee
from inventory.services.alerts.registry import Look
from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.roles import Role
from studio.models import Membership
from tests.costing.making import make_rate, make_rates
from tests.costing.selling import a_customer, a_packaging_set, a_price, a_product, a_tier
from tests.inventory.buying import a_supplier, an_offer, faults_of
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, stock

UNIT = 10_000
NEXT = TODAY + timedelta(days=1)


def a_person(role, name=""):
    user = get_user_model().objects.create(username=name or str(role))
    Membership.objects.create(user=user, role=role, may_see_costs=True)
    return user


@pytest.fixture
def shop(db):
    return a_shop()


def a_shop(**customer):
    """A bar at 5.00, from 48 on at 4.50, boxed in cartons of 24, that costs little to make."""
    bench = make_bench()
    stock(bench)
    make_rates()
    supplier = a_supplier("hill", lead_time_days=5)
    for code, pack in (("olive", "20 kg"), ("coconut", "20 kg"), ("naoh", "5 kg"),
                       ("water", "20 kg"), ("scent", "1 kg"), ("box", "100 each")):  # fmt: skip
        an_offer(supplier, bench.materials[code], pack, 20 * UNIT, code=f"hill-{code}")
    tier = a_tier(tax_share=Decimal("0.08"))
    product = a_product(bench, packaging_set=a_packaging_set())
    a_price(product, 20 * UNIT, tier=tier)
    a_price(product, 18 * UNIT, tier=tier, from_quantity=48)
    a_customer(tier=tier, discount=Decimal("0.05"), terms_days=14, **customer)
    return product


def asked(*lines, **values):
    lines = [LineDescription(product="plain-bar", **line) for line in lines]
    return QuoteDescription(customer="corner", lines=lines, **values)


def a_draft(*lines, on=TODAY, by=None, **values):
    return draft_quote(asked(*(lines or [{"quantity": 48}]), **values), on=on, by=by)


def a_sent(**values):
    return send_quote(a_draft(**values).code, on=TODAY, mail=False)


def lines_of(quote):
    return list(QuoteLine.objects.filter(quote=quote).order_by("position"))


def history(quote):
    return [(event.state, event.note) for event in quote.events.all()]


def test_a_draft_follows_the_list_the_customer_and_the_set(shop):
    quote = a_draft({"quantity": 47}, {"quantity": 48}, freight=15 * UNIT)
    few, many = lines_of(quote)
    assert (few.price, many.price, many.list_price) == (20 * UNIT, 18 * UNIT, 18 * UNIT)
    assert (few.bars_per_carton, few.tier.code) == (24, "wholesale")
    assert (quote.discount, quote.tax_share) == (Decimal("0.05"), Decimal("0.08"))
    assert quote.terms == "Payment is due within 14 days of the invoice."
    assert (quote.valid_until, quote.code) == (TODAY + timedelta(days=30), "Q-00001")
    # 47 x 20 + 48 x 18 = 1804; less 5 % = 1713.80; with 15 of freight and 8 % on both: 1867.10
    assert (quote.goods, quote.tax, quote.total) == (17_138_000, 1_383_000, 18_671_000)
    assert few.amount + many.amount == quote.goods
    assert many.promised_on is not None and many.promise["parts"]
    assert many.cost_replacement > 0 and many.floor > many.cost_replacement
    assert history(quote) == [("draft", "")]


def test_a_line_names_a_price_and_a_carton_of_its_own(shop):
    quote = a_draft({"quantity": 5, "price": 21 * UNIT, "bars_per_carton": 6}, discount=Decimal(0))
    (line,) = lines_of(quote)
    assert (line.price, line.list_price, line.bars_per_carton) == (21 * UNIT, 20 * UNIT, 6)
    assert quote.goods == 105 * UNIT
    a_price(shop, 30 * UNIT, tier=line.tier, effective_from=NEXT)
    recalculate(quote.code, on=NEXT)
    (line,) = lines_of(quote)
    assert (line.price, line.list_price, line.bars_per_carton) == (21 * UNIT, 30 * UNIT, 6)


def test_exempt_customers_pay_no_tax_whether_it_is_added_or_included(db):
    product = a_shop(tax_exempt=True)
    assert (a_draft().tax, a_draft().tax_share) == (0, 0)
    tier = product.prices.first().tier
    tier.tax_included = True
    tier.save()
    quote = a_draft({"quantity": 1}, discount=Decimal(0))
    # 20.00 with 8 % in it are 18.52 without
    assert (quote.total, quote.tax, quote.tax_included) == (185_200, 0, False)


def test_every_fault_of_a_draft_is_told(shop):
    with pytest.raises(QuoteRefusal) as refused:
        draft_quote(
            QuoteDescription(
                customer="nobody",
                lines=[LineDescription(product="x", quantity=1),
                       LineDescription(product="plain-bar", quantity=0, price=0)],
                valid_until=TODAY - timedelta(days=1),
                discount=Decimal(1),
                freight=-1,
            ),
            on=TODAY,
        )  # fmt: skip
    assert {field for _, field in faults_of(refused)} == {
        "customer", "lines.0.product", "lines.1.quantity", "lines.1.price", "valid_until",
        "discount", "freight",
    }  # fmt: skip
    PriceEntry.objects.all().delete()
    shop.packaging_set = None
    shop.save()
    with pytest.raises(QuoteRefusal) as refused:
        a_draft()
    assert faults_of(refused) == {
        ("no-price", "lines.0.price"),
        ("no-carton", "lines.0.bars_per_carton"),
    }
    assert not Quote.objects.exists()


def test_margins_are_on_both_costs(shop):
    quote = a_draft()
    (line,) = lines_of(quote)
    actual, replacement = margins_of(quote, line)
    assert actual is None  # no bar of it is held
    net = Decimal(line.amount) / line.quantity
    expected = (net - line.fees - line.cost_replacement) / net
    assert abs(replacement - expected) < Decimal("0.000001")


def test_sending_freezes_the_letter_and_later_prices_leave_it(shop):
    quote = a_sent()
    assert history(quote) == [("draft", ""), ("sent", "")]
    before = (Quote.objects.values().get(), list(QuoteLine.objects.values()))
    letters = [letter_pdf(quote, paper=paper) for paper in ("a4", "us-letter")]
    PriceEntry.objects.update(price=99 * UNIT)
    customer = quote.customer
    customer.name, customer.discount = "Renamed", Decimal("0.5")
    customer.save()
    shop.name = "Renamed bar"
    shop.save()
    with pytest.raises(QuoteSettled):
        recalculate(quote.code, on=NEXT)
    with pytest.raises(QuoteSettled):
        change_quote(quote.code, asked({"quantity": 1}), on=NEXT)
    with pytest.raises(QuoteSettled):
        send_quote(quote.code, on=NEXT)
    assert before == (Quote.objects.values().get(), list(QuoteLine.objects.values()))
    fresh = find_quote(quote.code)
    assert letters == [letter_pdf(fresh, paper=paper) for paper in ("a4", "us-letter")]


def test_sending_keeps_the_prices_that_were_seen(shop):
    quote = a_draft()
    PriceEntry.objects.update(price=99 * UNIT)
    sent = send_quote(quote.code, on=NEXT, mail=False)
    assert (sent.total, sent.quoted_on) == (quote.total, NEXT)


def test_a_draft_changes_and_is_worked_out_again(shop):
    quote = a_draft()
    changed = change_quote(quote.code, asked({"quantity": 10}, {"quantity": 2}), on=NEXT)
    assert (changed.revision, changed.quoted_on, len(lines_of(quote))) == (2, NEXT, 2)
    PriceEntry.objects.update(price=30 * UNIT)
    assert recalculate(quote.code, on=NEXT).goods == 12 * 285_000


def test_under_the_floor_only_an_owner_sends_and_says_why(shop):
    quote = a_draft({"quantity": 48, "price": UNIT // 10}, {"quantity": 1})
    with pytest.raises(QuoteUnderFloor) as refused:
        send_quote(quote.code, on=TODAY, mail=False)
    (fault,) = refused.value.faults
    (line, _) = lines_of(quote)
    assert (fault.code, fault.field) == ("under-floor", "lines.0.price")
    assert fault.details["product"] == "plain-bar" and fault.details["price"] == "0.10"
    restored = Decimal(fault.details["restoring_price"]) * UNIT
    assert restored * Decimal("0.95") >= line.floor > (restored - 1) * Decimal("0.95")
    reason = "First order of a chain"
    for person in (None, a_person(Role.MAKER)):
        with pytest.raises(OverrideNotAllowed):
            send_quote(quote.code, on=TODAY, mail=False, by=person, override_reason=reason)
    assert Quote.objects.get().state == "draft"
    owner = a_person(Role.OWNER)
    sent = send_quote(quote.code, on=TODAY, mail=False, by=owner, override_reason=reason)
    assert (sent.override_by, sent.override_reason) == (owner, reason)
    assert history(sent)[-1] == (
        "sent", f"By an owner's word: {reason}. Under the floor (line 1)",
    )  # fmt: skip
    assert reason not in str(sent.paper)


def test_what_an_owner_says_stands_whole_in_the_history_of_many_lines(shop):
    quote = a_draft(*({"quantity": 1, "price": UNIT // 10} for _ in range(90)))
    owner, reason = a_person(Role.OWNER), "x" * LONGEST_WORD
    with pytest.raises(InvalidInput, match="At most"):
        send_quote(quote.code, on=TODAY, mail=False, by=owner, override_reason=f"{reason}x")
    assert Quote.objects.get().state == "draft"
    sent = send_quote(quote.code, on=TODAY, mail=False, by=owner, override_reason=reason)
    assert history(sent)[-1][1].startswith(f"By an owner's word: {reason}. Under the floor")


def test_a_quote_whose_floor_is_not_known_says_so_and_asks_an_owner(shop):
    Rate.objects.filter(kind="labor_hour").delete()
    quote = a_draft()
    (line,) = lines_of(quote)
    assert (line.floor, line.cost_replacement) == (None, None) and line.floor_at_least > 0
    with pytest.raises(QuoteUnderFloor) as refused:
        send_quote(quote.code, on=TODAY, mail=False)
    (fault,) = refused.value.faults
    assert (fault.code, fault.field) == ("floor-not-known", "lines.0.price")
    assert Decimal(fault.details["floor_at_least"]) * UNIT == line.floor_at_least
    with pytest.raises(OverrideNotAllowed):
        send_quote(
            quote.code, on=TODAY, mail=False, by=a_person(Role.MAKER), override_reason="Trade fair"
        )
    owner = a_person(Role.OWNER)
    sent = send_quote(quote.code, on=TODAY, mail=False, by=owner, override_reason="Trade fair")
    assert (sent.override_by, sent.override_reason) == (owner, "Trade fair")
    assert history(sent)[-1][1] == "By an owner's word: Trade fair. Floor not known (line 1)"


def test_a_floor_that_no_price_can_keep_is_not_told_as_a_cost_that_is_missing(shop):
    half = Decimal("0.5")
    Tier.objects.update(floor_margin=half, wanted_margin=half)
    card = FeeDescription(code="card", name="Card", effective_from=TODAY, share=half)
    save_fee(card)
    quote = a_draft()
    (line,) = lines_of(quote)
    assert (line.floor, line.floor_at_least) == (None, None) and line.cost_replacement
    with pytest.raises(QuoteUnderFloor) as refused:
        send_quote(quote.code, on=TODAY, mail=False)
    (fault,) = refused.value.faults
    assert fault.code == "floor-not-known" and "take the whole price" in fault.message
    assert "is known" not in fault.message


def test_what_is_known_of_a_cost_can_put_a_price_under_its_floor_for_certain(shop):
    Rate.objects.filter(kind="labor_hour").delete()
    quote = a_draft({"quantity": 48, "price": UNIT // 10})
    with pytest.raises(QuoteUnderFloor) as refused:
        send_quote(quote.code, on=TODAY, mail=False)
    (fault,) = refused.value.faults
    assert fault.code == "under-floor" and "at least" in fault.message
    assert "restoring_price" not in fault.details
    [slip] = slipped(on=TODAY)
    assert (slip.is_floor_known, slip.restoring, slip.cost) == (False, None, None)
    [finding] = fallen_margins(Look(on=TODAY))
    assert "nothing says what restores it" in finding.reason
    assert finding.figures["restoring_price"] is None


def test_a_quote_goes_out_by_itself_once_the_rate_is_there(shop):
    Rate.objects.filter(kind="labor_hour").delete()
    quote = a_draft()
    make_rate(RateKind.LABOR_HOUR, 0)
    sent = send_quote(quote.code, on=TODAY, mail=False)
    assert (sent.state, sent.override_reason) == ("sent", "")
    assert lines_of(sent)[0].floor is not None


def test_a_floor_that_an_owner_set_needs_no_cost(shop):
    Rate.objects.filter(kind="labor_hour").delete()
    PriceEntry.objects.update(floor=UNIT)
    assert send_quote(a_draft().code, on=TODAY, mail=False).state == "sent"


def test_a_reason_that_is_not_needed_is_not_kept(shop):
    quote = send_quote(a_draft().code, on=TODAY, mail=False, override_reason="just in case")
    assert (quote.override_reason, quote.override_by) == ("", None)


def test_it_expires_by_the_schedule_and_is_never_accepted_then(shop):
    quote = a_sent(valid_until=NEXT)
    assert expire_quotes(on=NEXT) == 0
    with pytest.raises(QuoteExpired):
        mark_accepted(quote, on=NEXT + timedelta(days=1))
    assert [expire_quotes(on=NEXT + timedelta(days=1)) for _ in range(2)] == [1, 0]
    quote.refresh_from_db()
    assert quote.state == "expired" and "valid until" in history(quote)[-1][1]
    with pytest.raises(QuoteExpired):
        mark_accepted(quote, on=TODAY)


def test_it_is_accepted_once_within_its_days(shop):
    quote = a_sent(valid_until=NEXT)
    accepted = mark_accepted(quote, note="by phone", on=NEXT)
    assert (accepted.state, history(quote)[-1]) == ("accepted", ("accepted", "by phone"))
    for refused in (
        lambda: mark_accepted(quote, on=NEXT),
        lambda: decline_quote(quote.code),
        lambda: revise_quote(quote.code, on=NEXT),
    ):
        with pytest.raises(QuoteSettled):
            refused()
    assert expire_quotes(on=NEXT + timedelta(days=9)) == 0


def test_without_a_day_today_decides(shop):
    today = timezone.localdate()
    quote = send_quote(a_draft(on=today, valid_until=today).code, on=today, mail=False)
    assert mark_accepted(quote).state == "accepted"


def test_drafts_are_neither_accepted_nor_declined_and_the_past_is_not_sent(shop):
    quote = a_draft(valid_until=TODAY)
    for refused in (lambda: mark_accepted(quote, on=TODAY), lambda: decline_quote(quote.code)):
        with pytest.raises(QuoteSettled):
            refused()
    with pytest.raises(QuoteExpired):
        send_quote(quote.code, on=NEXT)
    with pytest.raises(NotFound):
        decline_quote("Q-99999")


def test_a_revision_replaces_the_sent_one_once_it_is_sent(shop):
    old = a_sent()
    new = revise_quote(old.code, on=NEXT)
    assert (new.replaces, new.state, new.code) == (old, "draft", "Q-00002")
    assert [line.quantity for line in lines_of(new)] == [48]
    with pytest.raises(QuoteSettled):
        revise_quote(old.code, on=NEXT)
    old.refresh_from_db()
    assert old.state == "sent"
    sent = send_quote(new.code, on=NEXT, mail=False)
    old.refresh_from_db()
    assert (old.state, history(old)[-1][1]) == ("declined", "Replaced by Q-00002.")
    assert ["Replaces", "Quote Q-00001"] in sent.paper["facts"]


def test_a_revision_of_what_was_accepted_meanwhile_is_not_sent(shop):
    old = a_sent()
    new = revise_quote(old.code, on=NEXT)
    mark_accepted(old, on=NEXT)
    with pytest.raises(QuoteSettled):
        send_quote(new.code, on=NEXT, mail=False)


@pytest.mark.parametrize("end", ["decline", "expire"])
def test_an_ended_quote_is_revised_and_stays_ended(shop, end):
    old = a_sent(valid_until=NEXT)
    if end == "decline":
        decline_quote(old.code, reason="too dear")
    else:
        expire_quotes(on=NEXT + timedelta(days=1))
    new = revise_quote(old.code, on=NEXT + timedelta(days=2))
    assert new.valid_until == NEXT + timedelta(days=3)
    send_quote(new.code, on=NEXT + timedelta(days=2), mail=False)
    old.refresh_from_db()
    assert old.state in {"declined", "expired"}
