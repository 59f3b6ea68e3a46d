"""Quotes: drafted and changed, sent, declined, revised. All of it shows costs or prices."""

from decimal import Decimal
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from costing.api.rows import LOOK
from costing.domain.quotes.quoting import carton_price, cartons
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine, QuoteMail, QuoteState
from costing.queries.quotes.quotes import asked_of, find_quote, margins_of, offered_of, quotes
from costing.services.prices.floor_word import LONGEST_WORD
from costing.services.quotes import quotes as services
from costing.services.quotes.drafts import LineDescription, QuoteDescription
from costing.services.quotes.letter import TEMPLATE, values_of
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, day, one_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.downloads import Page, PaperView
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.web.serializer_fields.writing import money_json

OFFER = (Capability.PRICE, Capability.SEE_COSTS)
CODE_LENGTH = 40
#: What a change leaves as it is unless it names it; those of a customer go with the customer.
KEPT = ("valid_until", "wanted_on", "freight", "note")
WRITTEN = ("create", "update", "partial_update")
OF_CUSTOMER = ("discount", "tax_share", "terms")


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


class QuoteLineSerializer(AnswerSerializer):
    """Bars of a product. Prices, costs, fees and floor are by the bar; `amount` is the line's
    after the quote's discount. `list_price` is what the tier's list says for the quantity. Unless
    `floor_known`, some cost is not known: only an owner sends such a line, with a reason."""

    shows = QuoteLine
    says = (
        *("position", "product.code as product", "product.name", "tier.code as tier", "quantity"),
        *("bars_per_carton", "cartons", "list_price", "own_price", "price", "carton_price"),
        *("amount", "cost_actual", "cost_replacement", "fees", "floor", "floor_at_least"),
        *("floor_known", "under_floor"),
        *("margin_actual", "margin_replacement", "promised_on", "promise"),
    )
    cartons = serializers.SerializerMethodField()
    carton_price = serializers.SerializerMethodField()
    floor_known = serializers.SerializerMethodField()
    under_floor = serializers.SerializerMethodField()
    margin_actual = serializers.SerializerMethodField()
    margin_replacement = serializers.SerializerMethodField()
    promise = PromiseSerializer()

    def get_cartons(self, line: QuoteLine) -> int:
        """Cartons that the bars go in, the last one perhaps not full."""
        full, left = cartons(line.quantity, line.bars_per_carton)
        return full + bool(left)

    @extend_schema_field(MoneyField(read_only=True))
    def get_carton_price(self, line: QuoteLine) -> dict[str, str]:
        """What a full carton costs before the discount."""
        return money_json(carton_price(line.price, line.bars_per_carton))

    def get_floor_known(self, line: QuoteLine) -> bool:
        """Whether its floor is known, since all costs are."""
        return not offered_of(line.quote, line).is_floor_unknown

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


class QuoteEventSerializer(AnswerSerializer):
    """What happened, under the state that the quote then had."""

    shows = QuoteEvent
    says = ("state", "at", "by.username as by", "note")


class QuoteMailSerializer(AnswerSerializer):
    """The quote's mail; `sent_at` is null until a worker has handed it over."""

    shows = QuoteMail
    says = ("to", "size", "created_at", "sent_at", "attempts", "trouble")


class QuoteSerializer(AnswerSerializer):
    """A quote with its lines, history and mails. `tax` is added to goods and freight, or within
    them where `tax_included`."""

    shows = Quote
    says = (
        *("code", "customer.code as customer", "customer.name as customer_name", "state"),
        *("quoted_on", "valid_until", "wanted_on", "discount", "freight", "tax_share"),
        *("tax_included", "goods", "tax", "total", "terms", "note", "override_reason"),
        *("override_by.username as override_by", "replaces.code as replaces", "replaced_by"),
        *("by.username as by", "lines", "events", "mails", "revision"),
    )
    replaced_by = serializers.SerializerMethodField()

    def get_replaced_by(self, quote: Quote) -> list[str]:
        """Quotes that revise this one."""
        return [other.code for other in quote.replaced_by.all()]


def _text(margin: Decimal | None) -> str | None:
    return None if margin is None else MarginField().to_representation(margin)


class QuotedLineSerializer(StrictSerializer):
    """Bars of a product; a price of a bar and a carton only where they are not the usual ones."""

    product = serializers.CharField(max_length=CODE_LENGTH)
    quantity = serializers.IntegerField(min_value=1, help_text="In bars.")
    price = MoneyField(required=False, allow_null=True, help_text="Without it, the price list's.")
    bars_per_carton = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, help_text="Without it, the packaging set's."
    )


class QuotedSerializer(StrictSerializer):
    """A draft; what is left out follows from the customer: discount, tax and terms."""

    customer = serializers.CharField(max_length=CODE_LENGTH)
    lines = QuotedLineSerializer(many=True)
    valid_until = serializers.DateField(required=False, help_text="Without it, for 30 days.")
    wanted_on = serializers.DateField(required=False, allow_null=True)
    discount = ShareField(required=False)
    freight = MoneyField(required=False)
    tax_share = ShareField(required=False)
    terms = serializers.CharField(max_length=400, required=False, allow_blank=True)
    note = serializers.CharField(
        max_length=2000, required=False, allow_blank=True, help_text="Printed in the letter."
    )


class SendSerializer(StrictSerializer):
    """How to send it. Under a floor, or one that is not known, only an owner sends, with the
    reason."""

    mail = serializers.BooleanField(required=False, default=True)
    paper = serializers.ChoiceField(
        choices=["a4", "letter"], required=False, help_text="Of the letter that is mailed."
    )
    override_reason = serializers.CharField(
        max_length=LONGEST_WORD, required=False, allow_blank=True
    )


class DeclineSerializer(StrictSerializer):
    """Why, in the customer's words."""

    reason = serializers.CharField(max_length=400, required=False, allow_blank=True)


class QuoteFilter(Filters):
    """Quotes."""

    customer = by_code("customer")
    state = one_of(QuoteState)
    product = by_code("lines__product")
    valid_from = day("valid_until", "gte")
    valid_before = day("valid_until", "lt")

    def filter_queryset(self, queryset: Any) -> Any:
        """A quote with two lines of a product is one quote."""
        found = super().filter_queryset(queryset)
        return found.distinct() if self.form.cleaned_data.get("product") else found


class QuoteViewSet(MasterViewSet):
    """What customers are offered, newest first. A draft changes with If-Match; a quote that was
    sent is frozen: revise it to offer something else."""

    queryset = quotes()
    serializer_class = QuoteSerializer
    filterset_class = QuoteFilter
    ordering = ("-id",)
    rules: ClassVar = master_rules(OFFER, look=LOOK)
    given_serializers: ClassVar = dict.fromkeys(WRITTEN, QuotedSerializer)

    def create_row(self, given: Any, serializer: Any) -> Quote:
        made = services.draft_quote(
            described(given), on=timezone.localdate(), by=caller(self.request)
        )
        return find_quote(made.code)

    def change_row(self, row: Quote, given: Any, serializer: Any) -> Quote:
        kept = kept_of(row, given) if serializer.partial else {}
        services.change_quote(row.code, described({**kept, **given}), on=timezone.localdate())
        return find_quote(row.code)

    @verb(OFFER, given=SendSerializer)
    def send(self, request: Request, code: str, given: Any) -> Any:
        """Send a draft: it is frozen, and its letter goes to the customer by mail."""
        services.send_quote(
            code,
            on=timezone.localdate(),
            by=caller(request),
            mail=given["mail"],
            size=given.get("paper", ""),
            override_reason=given.get("override_reason", ""),
        )
        return self.get_object()

    @verb(OFFER, given=DeclineSerializer)
    def decline(self, request: Request, code: str, given: Any) -> Any:
        """The customer does not want what was sent."""
        services.decline_quote(code, by=caller(request), reason=given.get("reason", ""))
        return self.get_object()

    @verb(OFFER, status=201)
    def revise(self, request: Request, code: str) -> Any:
        """A new draft of one that was sent, at today's prices; sent, it replaces the old one."""
        made = services.revise_quote(code, on=timezone.localdate(), by=caller(request))
        return self.made(self.get_queryset().get(pk=made.pk))

    @verb(OFFER)
    def recalculate(self, request: Request, code: str) -> Any:
        """Work a draft out again with today's prices, costs and stock."""
        services.recalculate(code, on=timezone.localdate())
        return self.get_object()


class QuoteLetterView(PaperView):
    """The quote as a letter: of one that was sent, the same file each time."""

    rules: ClassVar = {"get": LOOK}

    def page(self, **kwargs: Any) -> Page:
        quote = find_quote(kwargs["code"])
        return Page(template=TEMPLATE, values=values_of(quote), name=quote.code)


def described(given: Any) -> QuoteDescription:
    """A draft as the service takes it."""
    lines = [LineDescription(**line) for line in given["lines"]]
    return QuoteDescription(**{**given, "lines": lines})


def kept_of(row: Quote, given: Any) -> dict[str, Any]:
    """What a partial change leaves as it was."""
    names = KEPT if "customer" in given else (*KEPT, *OF_CUSTOMER)
    return {
        **{name: getattr(row, name) for name in names},
        "customer": row.customer.code,
        "lines": [
            {
                "product": line.product.code,
                "quantity": line.quantity,
                "price": line.own_price,
                "bars_per_carton": line.own_carton,
            }
            for line in row.lines.all()
        ],
    }
