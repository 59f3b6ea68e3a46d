"""Alerts: the list, seen and snoozed ones, and the round that opens and closes them."""

from datetime import date
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from inventory.models.alerts.alerts import Alert
from inventory.queries.alerts.alerts import STATES
from inventory.services.alerts.alerts import acknowledge, raise_alerts, snooze
from inventory.services.alerts.registry import costly_kinds, shown_figures
from inventory.services.alerts.rounds import start_round
from studio.foundation.errors import StateConflict
from studio.foundation.roles import Capability, may_see_costs
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.work.jobs import Job, shows_costs


class AlertSerializer(AnswerSerializer):
    """Something to look after, with the figures behind it and the reason in words."""

    shows = Alert
    says = (
        *(
            "id",
            "kind",
            "subject",
            "name",
            "material.code as material",
            "reason",
            "figures",
            "opened_at",
        ),
        *("updated_at", "closed_at", "acknowledged_at"),
        *("acknowledged_by.username as acknowledged_by", "snoozed_until"),
        "snoozed_by.username as snoozed_by",
    )
    figures = serializers.SerializerMethodField(
        help_text='Amounts of stock are {"amount", "unit"}, days are numbers, dates are text.'
    )

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_figures(self, alert: Alert) -> dict[str, Any]:
        return shown_figures(alert)


class AlertFilter(Filters):
    """Open alerts that are not snoozed, unless something else is asked for."""

    kind = filters.CharFilter()
    material = by_code("material")
    state = filters.ChoiceFilter(
        choices=[(name, name) for name in STATES],
        method="in_state",
        help_text="Open ones, if left out.",
    )

    def filter_queryset(self, queryset: Any) -> Any:
        found = super().filter_queryset(queryset)
        if self.form.cleaned_data.get("state"):
            return found
        return self.in_state(found, "state", "open")

    def in_state(self, alerts: Any, name: str, state: str) -> Any:
        """Open, snoozed, closed, or all of them."""
        asleep = Q(closed_at=None, snoozed_until__gt=timezone.localdate())
        chosen = {
            "open": Q(closed_at=None) & ~asleep,
            "snoozed": asleep,
            "closed": Q(closed_at__isnull=False),
            "all": Q(),
        }
        return alerts.filter(chosen[state])


class SnoozeSerializer(StrictSerializer):
    """Until when nothing is to be shown or told of it."""

    until = serializers.DateField()


class RoundSerializer(StrictSerializer):
    """What the round did."""

    opened = serializers.IntegerField()
    updated = serializers.IntegerField()
    closed = serializers.IntegerField()


class JobSerializer(AnswerSerializer):
    """A job that workers do, and what came of it, for those who may see the costs in it."""

    shows = Job
    says = (
        *("id", "name", "state", "outcome", "trouble", "parts", "created_at", "finished_at"),
        "by.username as by",
    )
    cost_fields = ("outcome",)
    parts = serializers.SerializerMethodField(help_text="How many parts are in which state.")

    def tells_costs(self, job: Job) -> bool:
        return shows_costs(job.name)

    @extend_schema_field({"type": "object", "additionalProperties": {"type": "integer"}})
    def get_parts(self, job: Job) -> dict[str, int]:
        counted: dict[str, int] = {}
        for part in job.parts.all():
            counted[part.state] = counted.get(part.state, 0) + 1
        return counted


class AlertViewSet(ReadOnlyStudioViewSet):
    """What needs looking after, newest first."""

    queryset = Alert.objects.select_related("material", "acknowledged_by", "snoozed_by").order_by(
        "-id"
    )
    serializer_class = AlertSerializer
    filterset_class = AlertFilter
    lookup_field = "pk"
    ordering = ("-id",)

    def get_queryset(self) -> Any:
        """Alerts that show costs are not there for those who may not see them."""
        alerts = super().get_queryset()
        if may_see_costs(self.request.user):
            return alerts
        return alerts.exclude(kind__in=costly_kinds())

    def filter_queryset(self, queryset: Any) -> Any:
        """A single alert is found whether it is open or closed."""
        return super().filter_queryset(queryset) if self.action == "list" else queryset

    @verb(Capability.KEEP_STOCK, answer=RoundSerializer, detail=False)
    def evaluate(self, request: Request) -> Any:
        """Look now, and wait for it; the mail about what is new goes out with the next round."""
        return raise_alerts(now=timezone.now())

    @verb(Capability.KEEP_STOCK, answer=JobSerializer, status=202, detail=False)
    def rounds(self, request: Request) -> Any:
        """Have workers look, each at a part of the materials; the answer is the job to follow."""
        job = start_round(now=timezone.now(), by=caller(request))
        if job is None:
            raise StateConflict("An earlier round is still being done: see the list of jobs.")
        return job

    @verb(Capability.KEEP_STOCK)
    def acknowledge(self, request: Request, pk: str) -> Any:
        """Say that somebody has seen it. It stays open until its cause is gone."""
        alert = self.get_object()
        return acknowledge(alert.pk, by=caller(request), now=timezone.now())

    @verb(Capability.KEEP_STOCK, given=SnoozeSerializer)
    def snooze(self, request: Request, pk: str, given: Any) -> Any:
        """Keep it quiet until a day, on which it is told anew if its cause still holds."""
        until: date = given["until"]
        alert = self.get_object()
        return snooze(alert.pk, until=until, by=caller(request), now=timezone.now())


class JobViewSet(ReadOnlyStudioViewSet):
    """Jobs in parts, newest first; kept for a week after they ended."""

    queryset = (
        Job.objects.filter(parent=None)
        .select_related("by")
        .prefetch_related("parts")
        .order_by("-id")
    )
    serializer_class = JobSerializer
    lookup_field = "pk"
    ordering = ("-id",)
