"""Quotes as answers: lines with costs, floors and margins; history; mails."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from costing.domain.quotes.quoting import carton_price, cartons
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine, QuoteMail
from costing.queries.quotes.quotes import asked_of, margins_of
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.web.serializer_fields.writing import money_json


class PromisePartSerializer(StrictSerializer):
    """Bars from one place, and the day on which they are ready. `code` is a lot, a batch, or the
    mold of a batch that is still to be planned."""

    kind = serializers.ChoiceField(choices=["cured", "curing", "planned", "new"], read_only=True)
    amount = serializers.IntegerField(read_only=True)
    ready_on = serializers.DateField(read_only=True)
    code = serializers.CharField(read_only=True)


class PromiseSerializer(StrictSerializer):
    """Where a line's bars come from; `reason` says what they wait for, or what is in the way."""

    parts = PromisePartSerializer(many=True, read_only=True)
    reason = serializers.CharField(read_only=True)


class MarginField(DecimalTextField):
    """A margin as a share of the price without tax; below zero at a loss."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(places=6, read_only=True, allow_null=True, **kwargs)


class QuoteLineSerializer(StrictModelSerializer[QuoteLine]):
    """Bars of a product. Prices, costs, fees and floor are by the bar; `amount` is the line's
    after the quote's discount. `list_price` is what the tier's list says for the quantity."""

    product = serializers.CharField(source="product.code", read_only=True)
    name = serializers.CharField(source="product.name", read_only=True)
    tier = serializers.CharField(source="tier.code", read_only=True)
    cartons = serializers.SerializerMethodField()
    list_price = MoneyField(read_only=True, allow_null=True)
    own_price = MoneyField(read_only=True, allow_null=True)
    price = MoneyField(read_only=True)
    carton_price = serializers.SerializerMethodField()
    amount = MoneyField(read_only=True)
    cost_actual = MoneyField(read_only=True, allow_null=True)
    cost_replacement = MoneyField(read_only=True, allow_null=True)
    fees = MoneyField(read_only=True, allow_null=True)
    floor = MoneyField(read_only=True, allow_null=True)
    under_floor = serializers.SerializerMethodField()
    margin_actual = serializers.SerializerMethodField()
    margin_replacement = serializers.SerializerMethodField()
    promise = PromiseSerializer(read_only=True)

    class Meta:
        model = QuoteLine
        fields = (
            *("position", "product", "name", "tier", "quantity", "bars_per_carton", "cartons"),
            *("list_price", "own_price", "price", "carton_price", "amount"),
            *("cost_actual", "cost_replacement", "fees", "floor", "under_floor"),
            *("margin_actual", "margin_replacement", "promised_on", "promise"),
        )
        read_only_fields = fields

    def get_cartons(self, line: QuoteLine) -> int:
        """Cartons that the bars go in, the last one perhaps not full."""
        full, left = cartons(line.quantity, line.bars_per_carton)
        return full + bool(left)

    @extend_schema_field(MoneyField(read_only=True))
    def get_carton_price(self, line: QuoteLine) -> dict[str, str]:
        """What a full carton costs before the discount."""
        return money_json(carton_price(line.price, line.bars_per_carton))

    def get_under_floor(self, line: QuoteLine) -> bool:
        """Whether less is paid for a bar than its floor."""
        return asked_of(line.quote, line).under

    @extend_schema_field(MarginField())
    def get_margin_actual(self, line: QuoteLine) -> str | None:
        """Of the price without tax, over the cost of the bars in stock and the fees."""
        return _text(margins_of(line.quote, line)[0])

    @extend_schema_field(MarginField())
    def get_margin_replacement(self, line: QuoteLine) -> str | None:
        """Of the price without tax, over the cost of making them anew and the fees."""
        return _text(margins_of(line.quote, line)[1])


class QuoteEventSerializer(StrictModelSerializer[QuoteEvent]):
    """What happened, under the state that the quote then had."""

    by = serializers.CharField(source="by.username", read_only=True, default=None, allow_null=True)

    class Meta:
        model = QuoteEvent
        fields = ("state", "at", "by", "note")
        read_only_fields = fields


class QuoteMailSerializer(StrictModelSerializer[QuoteMail]):
    """The quote's mail; `sent_at` is null until a worker has handed it over."""

    class Meta:
        model = QuoteMail
        fields = ("to", "size", "created_at", "sent_at", "attempts", "trouble")
        read_only_fields = fields


class QuoteSerializer(StrictModelSerializer[Quote]):
    """A quote with its lines, history and mails. `tax` is added to goods and freight, or within
    them where `tax_included`."""

    customer = serializers.CharField(source="customer.code", read_only=True)
    customer_name = serializers.CharField(source="customer.name", read_only=True)
    discount = ShareField(read_only=True)
    tax_share = ShareField(read_only=True)
    freight = MoneyField(read_only=True)
    goods = MoneyField(read_only=True)
    tax = MoneyField(read_only=True)
    total = MoneyField(read_only=True)
    override_by = serializers.CharField(
        source="override_by.username", read_only=True, default=None, allow_null=True
    )
    replaces = serializers.CharField(
        source="replaces.code", read_only=True, default=None, allow_null=True
    )
    replaced_by = serializers.SerializerMethodField()
    by = serializers.CharField(source="by.username", read_only=True, default=None, allow_null=True)
    lines = QuoteLineSerializer(many=True, read_only=True)
    events = QuoteEventSerializer(many=True, read_only=True)
    mails = QuoteMailSerializer(many=True, read_only=True)

    class Meta:
        model = Quote
        fields = (
            *("code", "customer", "customer_name", "state", "quoted_on", "valid_until"),
            *("wanted_on", "discount", "freight", "tax_share", "tax_included"),
            *("goods", "tax", "total", "terms", "note", "override_reason", "override_by"),
            *("replaces", "replaced_by", "by", "lines", "events", "mails", "revision"),
        )
        read_only_fields = fields

    def get_replaced_by(self, quote: Quote) -> list[str]:
        """Quotes that revise this one."""
        return [other.code for other in quote.replaced_by.all()]


def _text(margin: Decimal | None) -> str | None:
    return None if margin is None else MarginField().to_representation(margin)
