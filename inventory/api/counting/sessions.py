"""Count sessions: a blind sheet, finds in any unit, the differences, and posting them at once."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import WrittenQuantityField
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.counting.session import Moved, SessionState
from inventory.models.counting.counts import CountSession
from inventory.paper.count_sheet import count_table
from inventory.queries.counting.sessions import (
    SheetLine,
    Variance,
    VarianceLine,
    sheet_of_session,
    variance_of,
)
from inventory.services.counting.posting import Posting, post_session
from inventory.services.counting.sessions import (
    MOST_LINES,
    FoundLot,
    NewSession,
    cancel_session,
    enter_finds,
    open_session,
)
from studio.foundation.roles import Capability
from studio.foundation.tables.saved import SavedTable
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, one_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.downloads import TableView
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.quantities import StockAmountField


class CountSessionSerializer(AnswerSerializer):
    """A count over a location or a list of lots."""

    shows = CountSession
    says = (
        *("code", "location.code as location", "state", "counted_on", "note", "opened_at"),
        *("by.username as by", "closed_at", "closed_by.username as closed_by"),
    )


class NewSessionSerializer(StrictSerializer):
    """What is in stock in a location, of some kinds or everywhere; or lots by code."""

    location = CodeField(required=False)
    kinds = serializers.ListField(
        child=serializers.CharField(max_length=20),
        required=False,
        max_length=len(MaterialKind),
        help_text="Of materials, such as `fat`; every kind, if left out.",
    )
    everywhere = serializers.BooleanField(required=False, default=False)
    not_since = serializers.DateField(
        required=False, help_text="Leaves out what was counted on that day or later."
    )
    lots = serializers.ListField(child=CodeField(), required=False, max_length=MOST_LINES)
    counted_on = serializers.DateField(required=False, help_text="Today, if left out.")
    note = serializers.CharField(max_length=160, required=False, allow_blank=True, default="")


class CountSheetLineSerializer(AnswerSerializer):
    """One lot to count, in `g` or `each`. What the books expect is not told."""

    shows = SheetLine
    says = (
        *("position", "lot", "material", "material_name", "unit", "supplier_lot", "best_before"),
        *("location", "counted_at"),
    )
    unit = serializers.SerializerMethodField()

    def get_unit(self, line: SheetLine) -> str:
        return "each" if line.counted else "g"


class CountSheetSerializer(StrictSerializer):
    """The blind sheet."""

    session = serializers.CharField()
    lines = CountSheetLineSerializer(many=True)


class FoundLotSerializer(StrictSerializer):
    """What was found of a lot, in any unit that fits."""

    lot = CodeField()
    found = WrittenQuantityField()
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class FindsSerializer(StrictSerializer):
    """Finds; a lot that is entered again is counted anew."""

    lines = FoundLotSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]


class PostingSerializer(StrictSerializer):
    """How to post. `moved` says of lots that the books moved since they were counted whether the
    stock really moved after the count (the difference stands) or before it (the find stands).
    """

    moved = serializers.DictField(
        child=serializers.ChoiceField([one.value for one in Moved]), required=False, default=dict
    )
    leave_uncounted = serializers.BooleanField(required=False, default=False)


class VarianceLineSerializer(AnswerSerializer):
    """How the find of a lot differs from the books, and what that is worth."""

    shows = VarianceLine
    says = (
        *("lot", "material", "found", "expected", "now", "difference", "has_moved", "value"),
        "reason",
    )
    cost_fields = ("value",)
    expected = StockAmountField(counted="counted", help_text="By the books, when it was counted.")
    now = StockAmountField(counted="counted", help_text="By the books, now.")


class VarianceSerializer(AnswerSerializer):
    """The differences of a session; what is expected of lots not counted yet is not told."""

    shows = Variance
    says = ("session", "lines", "not_counted", "value")
    cost_fields = ("value",)


class CountSessionFilter(Filters):
    """Count sessions."""

    location = by_code("location")
    state = one_of(SessionState)


class CountSessionViewSet(ReadOnlyStudioViewSet):
    """Count sessions, newest first."""

    queryset = CountSession.objects.select_related("location", "by", "closed_by").order_by("-id")
    serializer_class = CountSessionSerializer
    filterset_class = CountSessionFilter
    ordering = ("-id",)

    @verb(Capability.KEEP_STOCK, given=NewSessionSerializer, status=201)
    def create(self, request: Request, given: Any) -> Any:
        """Open a count."""
        given.setdefault("counted_on", timezone.localdate())
        session = open_session(NewSession(**given), by=caller(request))
        return self.made(session)

    @extend_schema(responses=CountSheetSerializer)
    @look(Capability.READ, answer=CountSheetSerializer)
    def sheet(self, request: Request, code: str) -> Any:
        """What to count, blind."""
        return self._sheet(code)

    @verb(Capability.KEEP_STOCK, given=FindsSerializer, answer=CountSheetSerializer)
    def enter(self, request: Request, code: str, given: Any) -> Any:
        """Write down what was found."""
        enter_finds(code, [FoundLot(**line) for line in given["lines"]], by=caller(request))
        return self._sheet(code)

    @look(Capability.READ, answer=VarianceSerializer)
    def variance(self, request: Request, code: str) -> Any:
        """How the finds differ from the books."""
        return variance_of(code)

    @verb(Capability.KEEP_STOCK, given=PostingSerializer, answer=VarianceSerializer, path="post")
    def post_all(self, request: Request, code: str, given: Any) -> Any:
        """Bring the books to what was found, all lots at once."""
        posting = Posting(
            moved={lot: Moved(when) for lot, when in given["moved"].items()},
            leave_uncounted=given["leave_uncounted"],
        )
        post_session(code, posting, by=caller(request))
        return variance_of(code)

    @verb(Capability.KEEP_STOCK)
    def cancel(self, request: Request, code: str) -> Any:
        """Give the count up; nothing is posted."""
        cancel_session(code, by=caller(request))
        return self.get_object()

    def _sheet(self, code: str) -> Response:
        return self.answer({"session": code, "lines": sheet_of_session(code)})


class CountTableView(TableView):
    """The count sheet as a table, blind, with an empty column for what was found."""

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        code = kwargs["code"]
        return count_table(code, sheet_of_session(code))
