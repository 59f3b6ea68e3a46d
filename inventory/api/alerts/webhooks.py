"""Programs that are told of alerts, and what was sent to them. Only an owner sets them."""

from typing import Any, ClassVar

from django.utils import timezone
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.services.alerts.registry import CAUSES
from studio.foundation.roles import Capability
from studio.models import WebhookDelivery, WebhookTarget
from studio.web.api.answers import AnswerSerializer
from studio.web.api.lists.filtering import Filters, by_code
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import MasterViewSet, ReadOnlyStudioViewSet, master_rules
from studio.work.webhooks.sending import new_secret, resend
from studio.work.webhooks.signing import check_url

STATES = ("waiting", "delivered", "dead")


class WebhookTargetSerializer(StrictModelSerializer[WebhookTarget]):
    """A program that is told of alerts."""

    kinds = serializers.ListField(
        child=serializers.CharField(max_length=30),
        max_length=50,
        required=False,
        help_text="Kinds of alerts; none means all.",
    )

    class Meta:
        model = WebhookTarget
        fields = ("code", "url", "kinds", "active", "note", "revision")
        read_only_fields = ("revision",)

    def validate_url(self, url: str) -> str:
        """Only addresses that messages may be sent to."""
        check_url(url)
        return url

    def validate_kinds(self, kinds: list[str]) -> list[str]:
        """Only kinds that there are."""
        known = [cause.kind for cause in CAUSES]
        unknown = sorted(set(kinds) - set(known))
        if unknown:
            raise serializers.ValidationError(
                f"There is no kind {', '.join(unknown)}. There are: {', '.join(known)}."
            )
        return kinds


class NewTargetSerializer(WebhookTargetSerializer):
    """A new target with its secret, which is shown this once."""

    class Meta:
        model = WebhookTarget
        fields = ("code", "url", "kinds", "active", "note", "revision", "secret")
        read_only_fields = ("revision", "secret")


class WebhookTargetViewSet(MasterViewSet):
    """Programs that are told of alerts by signed requests (see Standard Webhooks 1.0)."""

    queryset = WebhookTarget.objects.order_by("code")
    serializer_class = WebhookTargetSerializer
    answer_serializers: ClassVar = {"create": NewTargetSerializer}
    ordering = ("code",)
    rules: ClassVar = master_rules(Capability.ADMIN, look=Capability.ADMIN)

    def create_row(self, given: Any, serializer: Any) -> Any:
        return serializer.save(secret=new_secret())


class WebhookDeliverySerializer(AnswerSerializer):
    """A message: what it says, how often it was tried, and what came of it."""

    shows = WebhookDelivery
    says = (
        *("id", "target.code as target", "event_id", "event", "state", "body", "created_at"),
        *("attempts", "next_attempt_at", "delivered_at", "dead_at", "status", "trouble"),
    )
    state = serializers.SerializerMethodField()

    def get_state(self, delivery: WebhookDelivery) -> str:
        if delivery.delivered_at:
            return "delivered"
        return "dead" if delivery.dead_at else "waiting"


class WebhookDeliveryFilter(Filters):
    """Messages."""

    target = by_code("target")
    event = filters.CharFilter()
    state = filters.ChoiceFilter(choices=[(name, name) for name in STATES], method="in_state")

    def in_state(self, deliveries: Any, name: str, state: str) -> Any:
        """Those that wait to be sent, that were taken, or that were given up."""
        if state == "waiting":
            return deliveries.filter(delivered_at=None, dead_at=None)
        return deliveries.filter(**{f"{state}_at__isnull": False})


class ResendSerializer(StrictSerializer):
    """Nothing is asked for."""


class WebhookDeliveryViewSet(ReadOnlyStudioViewSet):
    """Messages to other programs, newest first; `state=dead` are those that were given up."""

    queryset = WebhookDelivery.objects.select_related("target").order_by("-id")
    serializer_class = WebhookDeliverySerializer
    filterset_class = WebhookDeliveryFilter
    lookup_field = "pk"
    ordering = ("-id",)
    rules: ClassVar = {
        "list": Capability.ADMIN,
        "retrieve": Capability.ADMIN,
        "resend": Capability.ADMIN,
    }
    given_serializers: ClassVar = {"resend": ResendSerializer}

    @action(detail=True, methods=["post"])
    @stock_changing
    def resend(self, request: Request, pk: str) -> Response:
        """Try a message again from the start, with the same event id."""
        self.read(request)
        return self.answer(resend(self.get_object().pk, now=timezone.now()))
