"""Batches that were costed without a rate, and entering what rates that came late add to them."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.rows import LOOK, SET
from costing.models.bar_cost.conversion import Conversion, LateConversion
from costing.queries.bar_cost.late_rates import WaitingBatch, waiting_batches
from costing.services.bar_cost.late_rates import post_late_rates
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import StudioViewSet
from studio.web.permissions import Rules


class SinceSerializer(StrictSerializer):
    """Batches that were poured on that day or later."""

    since = serializers.DateField(input_formats=["%Y-%m-%d"])


class AskedSinceSerializer(StrictSerializer):
    """The same; without a day, all of them."""

    since = serializers.DateField(input_formats=["%Y-%m-%d"], required=False)


class WaitingBatchSerializer(AnswerSerializer):
    """Labor and overhead that the rates that are there now would add, and where they would go: on
    what is left of the lot, to an unusual loss of bars, and to what had left the lot already
    (`variance`, an expense). `missing` are kinds of rates that the batch waits for still."""

    shows = WaitingBatch
    says = (
        *("batch.code as batch", "poured_on", "late.cost", "late.on_lot", "late.expensed"),
        *("late.variance", "can_be_posted as can_be_entered", "missed as missing"),
    )


class EnteredSerializer(AnswerSerializer):
    """Labor and overhead that came late and was entered, on which day and by whom; and where it
    went, as of a batch that waits."""

    shows = LateConversion
    says = (
        *("conversion.batch.code as batch", "poured_on", "cost", "on_lot", "expensed"),
        *("variance", "on", "by.username as by"),
    )
    poured_on = serializers.DateField(source="conversion.batch.poured_on")


class WaitingSerializer(StrictSerializer):
    """Batches that wait for a rate, the oldest pour first."""

    batches = WaitingBatchSerializer(many=True)


class LateRatesSerializer(StrictSerializer):
    """What was entered, the oldest pour first; empty when no rate had come."""

    entered = EnteredSerializer(many=True)


class LateRatesViewSet(StudioViewSet):
    """Labor and overhead of batches that were costed before their rates were known."""

    queryset = Conversion.objects.none()
    serializer_class = WaitingSerializer
    rules: ClassVar[Rules] = {"waiting": LOOK}
    known_query: ClassVar = {"waiting": ("since",)}

    @extend_schema(parameters=[AskedSinceSerializer])
    def waiting(self, request: Request) -> Response:
        """Batches whose labor or overhead is not known, and what entering would add."""
        query = AskedSinceSerializer(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        found = waiting_batches(since=query.validated_data.get("since"))
        return self.answer({"batches": found})

    @verb(SET, given=SinceSerializer, answer=LateRatesSerializer, detail=False)
    def enter(self, request: Request, given: Any) -> Any:
        """Enter what had no rate on batches poured since a day; again, it adds nothing."""
        made = post_late_rates(since=given["since"], on=timezone.localdate(), by=caller(request))
        return {"entered": made}
