"""What a record was before: `<its address>/history/`, the newest change first, paged."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django.db.models import Model, QuerySet
from django.http import Http404
from rest_framework import mixins, serializers

from studio.foundation.histories import NEWEST_FIRST, Edit, edits, kept_rows
from studio.foundation.roles import Capability, may_see_costs
from studio.web.api.serializers import StrictSerializer
from studio.web.api.viewsets import StudioViewSet
from studio.web.permissions import Rule


class ChangeSerializer(StrictSerializer):
    """One value as it was and as it is, in words with its unit; empty for nothing."""

    field = serializers.CharField(help_text="The name of the value; empty for parts of a record.")
    label = serializers.CharField(help_text="What pages call it.")  # type: ignore[assignment]
    before = serializers.CharField()
    after = serializers.CharField()


class EditSerializer(StrictSerializer):
    """One change: when, by whom ("the schedule" by itself, "not noted"), why, and of what."""

    at = serializers.DateTimeField()
    by = serializers.CharField()
    is_first = serializers.BooleanField(help_text="Whether it was entered then.")
    reason = serializers.CharField()
    changes = ChangeSerializer(many=True)


class HistoryViewSet(StudioViewSet, mixins.ListModelMixin):
    """The history of one record of `model`, which its address names by `found_by`."""

    model: ClassVar[Any]
    found_by: ClassVar[str] = "code"
    rules: ClassVar[Mapping[str, Rule]] = {"list": Capability.READ}
    ordering: ClassVar = NEWEST_FIRST
    serializer_class = EditSerializer

    def get_queryset(self) -> QuerySet[Model]:
        """The rows of the record's history. Two queries. Raises Http404."""
        if getattr(self, "swagger_fake_view", False):  # the description is written, nobody asks
            rows: QuerySet[Model] = self.model.history.none()
            return rows
        named = self.kwargs[self.found_by]
        record = self.model.objects.filter(**{self.found_by: named}).values_list("pk").first()
        if record is None:
            raise Http404
        return kept_rows(self.model, id=record[0])

    def paginate_queryset(self, queryset: Any) -> list[Edit] | None:  # type: ignore[override]
        rows = super().paginate_queryset(queryset)
        return edits(rows or [], costs=may_see_costs(self.request.user))
