"""What the database itself refuses of a sent quote, whoever writes: on SQLite and PostgreSQL."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from costing.models.quotes.guards import FREE_COLUMNS, FROZEN, FROZEN_COLUMNS, KEPT, ONWARD
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine
from tests.costing.selling import a_customer, a_product
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench

ANSWERS = ("accepted", "declined", "expired")


@pytest.fixture
def quote(database):
    product = a_product(make_bench())
    quote = Quote.objects.create(
        code="Q-00001",
        customer=a_customer(),
        quoted_on=TODAY,
        valid_until=TODAY + timedelta(days=30),
        total=120_000,
        paper={"total": "$12.00"},
    )
    QuoteLine.objects.create(
        quote=quote,
        position=1,
        product=product,
        quantity=24,
        bars_per_carton=12,
        tier=quote.customer.tier,
        price=5_000,
        amount=120_000,
    )
    QuoteEvent.objects.create(quote=quote, state="draft")
    return quote


@pytest.fixture
def sent(quote):
    run("UPDATE costing_quote SET state = 'sent'")
    QuoteEvent.objects.create(quote=quote, state="sent")
    return quote


def run(sql, *params):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)


def kept():
    return [list(model.objects.order_by("pk").values()) for model in (Quote, QuoteLine, QuoteEvent)]


def refused(sql, message):
    before = kept()
    with pytest.raises(DatabaseError, match=message):
        run(sql)
    assert kept() == before


def test_every_column_is_either_frozen_or_named_as_free():
    columns = {field.column for field in Quote._meta.concrete_fields}
    assert columns == {*FROZEN_COLUMNS, *FREE_COLUMNS}
    assert not {*FROZEN_COLUMNS} & {*FREE_COLUMNS}


@pytest.mark.parametrize(
    "sets",
    [
        "total = total + 1",
        "goods = 1",
        "tax = 1",
        "freight = 1",
        "tax_share = 1000",
        "discount = 1000",
        "terms = 'cash'",
        "note = 'x'",
        "paper = '{}'",
        "valid_until = '2099-01-01'",
        "quoted_on = '2020-01-01'",
        "wanted_on = '2026-05-01'",
        "code = 'Q-9'",
        "override_reason = 'x'",
        "state = 'accepted', total = 1",
    ],
)
def test_a_sent_quote_keeps_its_values(sent, sets):
    refused(f"UPDATE costing_quote SET {sets}", FROZEN)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE costing_quoteline SET price = price - 1",
        "UPDATE costing_quoteline SET promised_on = '2026-05-01'",
        "UPDATE costing_quoteline SET cost_actual = 1",
        "DELETE FROM costing_quoteline",
        "DELETE FROM costing_quote",
        """INSERT INTO costing_quoteline (quote_id, position, product_id, quantity,
            bars_per_carton, tier_id, price, amount, promise)
            SELECT quote_id, 2, product_id, quantity, bars_per_carton, tier_id, price, amount,
            promise FROM costing_quoteline""",
    ],
)
def test_a_sent_quote_keeps_its_lines(sent, sql):
    refused(sql, FROZEN)


@pytest.mark.parametrize(
    "sql", ["UPDATE costing_quoteevent SET note = 'never mind'", "DELETE FROM costing_quoteevent"]
)
def test_history_is_only_added_to(quote, sql):
    refused(sql, KEPT)


def test_nothing_is_replaced_on_the_way_around_the_triggers(sent, database):
    if database.name == "postgres":
        for table in ("costing_quoteevent", "costing_quoteline", "costing_quote"):
            with pytest.raises(DatabaseError):
                run(f"TRUNCATE {table} CASCADE")
        return
    with pytest.raises(DatabaseError, match=FROZEN):
        run("INSERT OR REPLACE INTO costing_quote SELECT * FROM costing_quote")
    with pytest.raises(DatabaseError, match=FROZEN):
        run("INSERT OR REPLACE INTO costing_quoteline SELECT * FROM costing_quoteline")
    with pytest.raises(DatabaseError, match=KEPT):
        run("INSERT OR REPLACE INTO costing_quoteevent SELECT * FROM costing_quoteevent")


def test_a_line_does_not_move_to_or_from_a_sent_quote(sent):
    other = Quote.objects.create(
        code="Q-00002", customer=sent.customer, quoted_on=TODAY, valid_until=TODAY
    )
    refused(f"UPDATE costing_quoteline SET quote_id = {other.pk}", FROZEN)
    line = QuoteLine.objects.get()
    line.pk, line.quote = None, other
    line.save()
    refused(f"UPDATE costing_quoteline SET quote_id = {sent.pk}, position = 9 WHERE id = {line.pk}",
            FROZEN)  # fmt: skip


@pytest.mark.parametrize("answer", ANSWERS)
def test_the_state_only_moves_on(quote, answer):
    refused(f"UPDATE costing_quote SET state = '{answer}'", ONWARD)
    run("UPDATE costing_quote SET state = 'sent'")
    refused("UPDATE costing_quote SET state = 'draft'", ONWARD)
    run(f"UPDATE costing_quote SET state = '{answer}', revision = revision + 1")
    for other in {"draft", "sent", *ANSWERS} - {answer}:
        refused(f"UPDATE costing_quote SET state = '{other}'", ONWARD)
    refused("UPDATE costing_quote SET total = 1", FROZEN)


def test_a_draft_may_change_and_go(quote):
    run("UPDATE costing_quote SET total = 1, terms = 'cash', paper = '{}'")
    run("UPDATE costing_quoteline SET price = 1")
    run("DELETE FROM costing_quoteline")
    assert Quote.objects.get().total == 1
