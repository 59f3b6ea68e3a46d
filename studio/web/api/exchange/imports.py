"""Tables handed in as files: checked, followed, imported or given up."""

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from django.core.exceptions import RequestDataTooBig
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from studio.foundation.roles import Capability
from studio.models import ImportRun
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.exchange.exports import DELIMITER, delimiter_in, saved_answer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.downloads import CSV, FileView
from studio.work.exchange import files, starting

#: Beside the file: its name, the other fields and the lines between them.
ROUND_THE_FILE = 16_384


class BoundedMultiPartParser(MultiPartParser):
    """Form data with a file of at most `view.most_bytes`; a larger body is refused unread (413)."""

    def parse(
        self, stream: Any, media_type: Any = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        context = parser_context or {}
        length = int(context["request"].META.get("CONTENT_LENGTH") or 0)
        if length > context["view"].most_bytes + ROUND_THE_FILE:
            raise RequestDataTooBig
        return super().parse(stream, media_type, parser_context)


#: So many faults are in the answer itself; all of them are in its table of faults.
FAULTS_SHOWN = 200
ID = OpenApiParameter("id", int, OpenApiParameter.PATH)


class ImportFaultSerializer(StrictSerializer):
    """What is wrong in a cell, a row (no column) or the whole file (row 0)."""

    row = serializers.IntegerField()
    column = serializers.CharField()
    code = serializers.CharField()
    detail = serializers.CharField(source="message")


class ImportSerializer(AnswerSerializer):
    """An import: how far it is and what it would do or did. Of its faults the first are shown."""

    shows = ImportRun
    says = (
        *("id", "table", "mode", "dry_run", "file_name", "state", "rows_total", "rows_checked"),
        *("created", "changed", "unchanged", "faults_total", "trouble", "by.username as by"),
        *("created_at", "finished_at"),
    )


class ImportShownSerializer(ImportSerializer):
    """An import with its first faults."""

    faults = serializers.SerializerMethodField()

    @extend_schema(responses=ImportFaultSerializer(many=True))
    def get_faults(self, run: ImportRun) -> Any:
        return ImportFaultSerializer(run.faults[:FAULTS_SHOWN], many=True).data


class ImportGivenSerializer(StrictSerializer):
    """A file for a table.

    `create` refuses codes that are there already; `change` brings what is there up to the file.
    A dry run only checks; without one, a file without faults is imported at once.
    """

    table = serializers.CharField(max_length=40)
    mode = serializers.ChoiceField(ImportRun.Mode.choices, default=ImportRun.Mode.CREATE.value)
    dry_run = serializers.BooleanField(default=True)
    file = serializers.FileField(allow_empty_file=True, max_length=400)


@extend_schema_view(retrieve=extend_schema(parameters=[ID]))
class ImportViewSet(ReadOnlyStudioViewSet):
    """Files of tables, newest first: one's own, and all for owners.

    POST answers at once; workers check every row and the rows checked so far are told. Nothing
    changes until a file without faults is imported, and then all of it does.
    """

    queryset = ImportRun.objects.none()
    serializer_class = ImportSerializer
    lookup_field = "pk"
    lookup_url_kwarg = "id"
    lookup_value_regex = "[0-9]{1,18}"
    ordering = ("-id",)
    most_bytes = starting.MOST_BYTES
    answer_serializers: ClassVar = {"retrieve": ImportShownSerializer}

    def get_queryset(self) -> QuerySet[ImportRun]:
        if getattr(self, "swagger_fake_view", False):
            return ImportRun.objects.none()
        return starting.runs_of(caller(self.request))

    def get_parsers(self) -> list[Any]:
        if self.action_map.get("post") == "create":
            return [BoundedMultiPartParser()]
        return super().get_parsers()

    def get_object(self) -> ImportRun:
        return starting.run_of(self._pk(), by=caller(self.request))

    @extend_schema(request={"multipart/form-data": ImportGivenSerializer})
    @verb(
        Capability.KEEP_STOCK,
        given=ImportGivenSerializer,
        answer=ImportShownSerializer,
        status=202,
        once=False,
    )
    def create(self, request: Request, given: Any) -> Any:
        """Hand a file in. It is checked in the background; follow it at its own address."""
        run = starting.start_import(
            given["table"],
            given["file"].read(),
            mode=given["mode"],
            dry_run=given["dry_run"],
            file_name=given["file"].name or "",
            by=caller(request),
            now=timezone.now(),
        )
        return self.made(run)

    @extend_schema(parameters=[ID])
    @verb(
        Capability.KEEP_STOCK, answer=ImportShownSerializer, status=202, path="import", once=False
    )
    def go_on(self, request: Request, id: str) -> Any:
        """Import what a dry run found without faults: all of it, or nothing."""
        return starting.go_on(self._pk(), by=caller(request), now=timezone.now())

    @extend_schema(parameters=[ID])
    @verb(Capability.KEEP_STOCK, answer=ImportShownSerializer, once=False)
    def discard(self, request: Request, id: str) -> Any:
        """Give it up; nothing was changed."""
        return starting.discard(self._pk(), by=caller(request), now=timezone.now())

    def _pk(self) -> int:
        return _kept_pk(self.kwargs["id"])


class ImportFaultsView(FileView):
    """What is wrong with an import, a line each."""

    form = "csv"

    def query_parameters(self) -> Iterable[str]:
        return ("delimiter",)

    @extend_schema(parameters=[ID, DELIMITER], responses={(200, CSV): OpenApiTypes.BINARY})
    def get(self, request: Request, id: str) -> Any:
        """All faults as CSV."""
        run = starting.run_of(_kept_pk(id), by=caller(request))
        return saved_answer(files.faults_file(run, delimiter=delimiter_in(request)))


def _kept_pk(text: str) -> int:
    """The number in an address. Raises Http404 for one that no database keeps."""
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise Http404
    return int(text)
