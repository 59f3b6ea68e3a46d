"""Quotes: drafted and changed, sent, declined, revised. All of it shows costs or prices."""

from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.quotes.answers import QuoteSerializer
from costing.models.quotes.quotes import Quote, QuoteState
from costing.queries.quotes.quotes import find_quote, quotes
from costing.services.quotes import quotes as services
from costing.services.quotes.letter import TEMPLATE, values_of
from costing.services.quotes.quotes import LineDescription, QuoteDescription
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, day, one_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import MasterViewSet
from studio.web.downloads import Page, PaperView
from studio.web.serializer_fields.numbers import MoneyField, ShareField

LOOK = (Capability.READ, Capability.SEE_COSTS)
OFFER = (Capability.PRICE, Capability.SEE_COSTS)
CODE_LENGTH = 40
#: What a change leaves as it is unless it names it; those of a customer go with the customer.
KEPT = ("valid_until", "wanted_on", "freight", "note")
OF_CUSTOMER = ("discount", "tax_share", "terms")


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
    """How to send it. Under the floor only an owner sends, with the reason."""

    mail = serializers.BooleanField(required=False, default=True)
    paper = serializers.ChoiceField(
        choices=["a4", "letter"], required=False, help_text="Of the letter that is mailed."
    )
    override_reason = serializers.CharField(max_length=340, required=False, allow_blank=True)


class DeclineSerializer(StrictSerializer):
    """Why, in the customer's words."""

    reason = serializers.CharField(max_length=400, required=False, allow_blank=True)


class NothingSerializer(StrictSerializer):
    """Nothing is asked for."""


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
    rules: ClassVar = {
        "list": LOOK,
        "retrieve": LOOK,
        **dict.fromkeys(("create", "update", "partial_update"), OFFER),
        **dict.fromkeys(("send", "decline", "revise", "recalculate"), OFFER),
    }
    given_serializers: ClassVar = {
        "create": QuotedSerializer,
        "update": QuotedSerializer,
        "partial_update": QuotedSerializer,
        "send": SendSerializer,
        "decline": DeclineSerializer,
        "revise": NothingSerializer,
        "recalculate": NothingSerializer,
    }
    statuses: ClassVar = {"revise": 201}

    def create_row(self, given: Any, serializer: Any) -> Quote:
        made = services.draft_quote(
            described(given), on=timezone.localdate(), by=caller(self.request)
        )
        return find_quote(made.code)

    def change_row(self, row: Quote, given: Any, serializer: Any) -> Quote:
        kept = kept_of(row, given) if serializer.partial else {}
        services.change_quote(row.code, described({**kept, **given}), on=timezone.localdate())
        return find_quote(row.code)

    @action(detail=True, methods=["post"])
    @stock_changing
    def send(self, request: Request, code: str) -> Response:
        """Send a draft: it is frozen, and its letter goes to the customer by mail."""
        given: Any = self.read(request)
        services.send_quote(
            code,
            on=timezone.localdate(),
            by=caller(request),
            mail=given["mail"],
            size=given.get("paper", ""),
            override_reason=given.get("override_reason", ""),
        )
        return self.answer(self.get_object())

    @action(detail=True, methods=["post"])
    @stock_changing
    def decline(self, request: Request, code: str) -> Response:
        """The customer does not want what was sent."""
        given: Any = self.read(request)
        services.decline_quote(code, by=caller(request), reason=given.get("reason", ""))
        return self.answer(self.get_object())

    @action(detail=True, methods=["post"])
    @stock_changing
    def revise(self, request: Request, code: str) -> Response:
        """A new draft of one that was sent, at today's prices; sent, it replaces the old one."""
        self.read(request)
        made = services.revise_quote(code, on=timezone.localdate(), by=caller(request))
        response = self.answer(self.get_queryset().get(pk=made.pk))
        response.headers["Location"] = self.reverse_action("detail", args=[made.code])
        return response

    @action(detail=True, methods=["post"])
    @stock_changing
    def recalculate(self, request: Request, code: str) -> Response:
        """Work a draft out again with today's prices, costs and stock."""
        self.read(request)
        services.recalculate(code, on=timezone.localdate())
        return self.answer(self.get_object())


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
