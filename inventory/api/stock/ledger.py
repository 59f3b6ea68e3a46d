"""The books: entries, reservations, counts and dated requirements."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from inventory.api.filters import (
    CountFilter,
    EntryFilter,
    ExpectedMakeFilter,
    RequirementFilter,
    ReservationFilter,
)
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.models.counting.counts import StockCount
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import Reservation, ReservationLine
from inventory.queries.stock.supplies import expected_makes
from inventory.services.stock.reservations import release
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.quantities import StockAmountField


class EntrySerializer(AnswerSerializer):
    """One signed change of one lot; entries are added and never changed.

    `on` is the day it counts for, `at` the moment it was entered.
    """

    shows = StockEntry
    says = (
        *("id", "posting", "lot.code as lot", "lot.material.code as material", "verb", "on_hand"),
        *("reserved", "cost", "reservation", "reference", "note", "on", "at"),
        "by.username as by",
    )
    counted = "lot.material.counted"
    cost_fields = ("cost",)
    reservation = serializers.IntegerField(source="reservation_id", allow_null=True)


class EntryViewSet(ReadOnlyStudioViewSet):
    """The stock ledger, newest first. `reference` names the document: "delivery:D-00003"."""

    queryset = StockEntry.objects.select_related("lot__material", "by").order_by("-id")
    serializer_class = EntrySerializer
    filterset_class = EntryFilter
    lookup_field = "pk"
    ordering = ("-id",)


class HeldSerializer(AnswerSerializer):
    """What one lot holds for a reservation."""

    shows = ReservationLine
    says = ("lot.code as lot", "lot.material.code as material", "amount", "remaining")
    counted = "lot.material.counted"


class ReservationSerializer(AnswerSerializer):
    """Stock promised to a holder ("batch:B-00012"), whole or not at all."""

    shows = Reservation
    says = (
        *("id", "holder", "state", "expires_on", "created_at", "closed_at", "by.username as by"),
        "lines",
    )


class ReleaseGivenSerializer(StrictSerializer):
    """Why it is given back."""

    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class ReservationViewSet(ReadOnlyStudioViewSet):
    """What is promised, newest first."""

    queryset = (
        Reservation.objects.select_related("by")
        .prefetch_related("lines__lot__material")
        .order_by("-id")
    )
    serializer_class = ReservationSerializer
    filterset_class = ReservationFilter
    lookup_field = "pk"
    ordering = ("-id",)

    @verb(Capability.PLAN, given=ReleaseGivenSerializer)
    def release(self, request: Request, pk: str, given: Any) -> Any:
        """Give back all that it still holds."""
        release(self.get_object().pk, by=caller(request), note=given["note"])
        return self.get_object()


class CountSerializer(AnswerSerializer):
    """One count: what the books expected and what was found."""

    shows = StockCount
    says = (
        *("id", "posting", "lot.code as lot", "lot.material.code as material", "counted_on"),
        *("expected", "found", "reason", "at", "by.username as by"),
    )
    counted = "lot.material.counted"


class CountViewSet(ReadOnlyStudioViewSet):
    """Counts, newest first; a lot is counted at its own address."""

    queryset = StockCount.objects.select_related("lot__material", "by").order_by("-id")
    serializer_class = CountSerializer
    filterset_class = CountFilter
    lookup_field = "pk"
    ordering = ("-id",)


class RequirementSerializer(AnswerSerializer):
    """An amount needed by a holder on a day."""

    shows = Requirement
    says = ("id", "holder", "material.code as material", "due_on", "amount")
    counted = "material.counted"


class RequirementViewSet(ReadOnlyStudioViewSet):
    """What plans will need; written by whoever plans."""

    queryset = Requirement.objects.select_related("material").order_by("id")
    serializer_class = RequirementSerializer
    filterset_class = RequirementFilter
    lookup_field = "pk"


class ExpectedMakeSerializer(AnswerSerializer):
    """An amount that a holder will have made by a day."""

    shows = ExpectedMake
    says = (
        *("id", "holder", "material.code as material", "due_on", "days_to_make", "amount"),
        *("coming", "lot"),
    )
    counted = "material.counted"
    coming = StockAmountField(
        counted="material.counted", help_text="What of it may still come; nothing of a blocked lot."
    )
    lot = serializers.CharField(
        source="lot.code", default=None, help_text="What stands of it already, not usable yet."
    )


class ExpectedMakeViewSet(ReadOnlyStudioViewSet):
    """What batches will make, until it may be used; written by whoever plans.

    What is overdue and not begun comes no sooner than `days_to_make` from today.
    """

    queryset = expected_makes().select_related("material", "lot").order_by("id")
    serializer_class = ExpectedMakeSerializer
    filterset_class = ExpectedMakeFilter
    lookup_field = "pk"
