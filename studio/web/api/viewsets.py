"""Base classes of the apps' viewsets. `studio.web.api` tells how to use them."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, ClassVar

from django.db import transaction
from django.http import Http404
from django.urls import NoReverseMatch
from rest_framework import mixins, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from studio.foundation.roles import Capability
from studio.models import ChangedMeanwhile
from studio.web.api.callers import caller
from studio.web.api.concurrency import (
    Stale,
    expected_of,
    read_if_match,
    require_match,
    set_etag,
)
from studio.web.api.lists.filtering import filter_names, refuse_cost_filters
from studio.web.api.verbs import verb_of
from studio.web.api.views import SerializerClass, StudioView
from studio.web.permissions import Rule, Rules
from studio.work.keeping import Expected

PAGING = ("cursor", "page_size")


class StudioViewSet(StudioView, viewsets.GenericViewSet):  # type: ignore[type-arg]
    """Verbs on one noun. Rows are found by `code`; each action needs a rule.

    What a verb is given and answers stands with it; `given_serializers` and `answer_serializers`
    name the serializers of other actions that do not use `serializer_class`.
    """

    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    given_serializers: ClassVar[Mapping[str, SerializerClass]] = {}
    answer_serializers: ClassVar[Mapping[str, SerializerClass]] = {}
    #: Query parameters of single actions, beside the filters and pages of `list`.
    known_query: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    #: Filters that are about costs.
    cost_filters: ClassVar[tuple[str, ...]] = ()

    def query_parameters(self) -> Iterable[str]:
        names = self.known_query.get(self.action, ())
        if self.action == "list":
            return (*names, *PAGING, *filter_names(self, self.request))
        return names

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        refuse_cost_filters(self, request)

    def get_serializer_class(self) -> SerializerClass:
        verb = verb_of(self, self.action)
        named = self.given_serializers.get(self.action) if verb is None else verb.given
        return named or super().get_serializer_class()

    def answer_serializer_class(self) -> SerializerClass:
        """The serializer of this action's answer."""
        verb = verb_of(self, self.action)
        named = self.answer_serializers.get(self.action) if verb is None else verb.answer
        return named or super().get_serializer_class()

    def answer(self, shown: Any, *, status: int | None = None, many: bool = False) -> Response:
        """An answer that shows a row or a value, with its ETag when it has a revision.

        Its status is what the verb says, or `statuses` of another action; else 200.
        """
        verb = verb_of(self, self.action)
        usual = self.statuses.get(self.action, 200) if verb is None else verb.status
        serializer = self.answer_serializer_class()(
            shown, many=many, context=self.get_serializer_context()
        )
        response = Response(serializer.data, status=status or usual)
        if not many:
            set_etag(response, shown)
        return response

    def made(self, row: Any) -> Response:
        """The answer about a new row, with its address."""
        response = self.answer(row)
        address = self.reverse_action("detail", args=[getattr(row, self.lookup_field)])
        response.headers["Location"] = address
        return response

    def locked_object(self) -> Any:
        """The row of this address, locked until the end of the transaction. Two queries."""
        lookup = {self.lookup_field: self.kwargs[self.lookup_url_kwarg or self.lookup_field]}
        rows = self.get_queryset().model._default_manager.select_for_update()
        try:
            rows = list(rows.filter(**lookup).values_list("pk", flat=True))
        except (ValueError, TypeError) as error:
            raise Http404 from error
        if not rows:
            raise Http404
        return self.get_object()


class ReadOnlyStudioViewSet(StudioViewSet, mixins.ListModelMixin):
    """A list and its rows; verbs may be added as actions."""

    rules: ClassVar[Rules] = {"list": Capability.READ, "retrieve": Capability.READ}

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(self.get_object())


class MasterViewSet(ReadOnlyStudioViewSet):
    """Master data that people enter and change; the model is a `Revised`.

    Changes need If-Match and raise the revision by one. There is no DELETE: history names these
    rows. Give `rules` with `master_rules(...)`. A rule beyond fields and constraints belongs in a
    service: override `create_row` or `change_row` and call it there.
    """

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("changed_by")

    def create_row(self, given: Any, serializer: Any) -> Any:
        """Save a new row from what was read and return it."""
        return serializer.save()

    def change_row(self, row: Any, given: Any, serializer: Any) -> Any:
        """Save the changed row, which is locked and has its new revision set, and return it."""
        return serializer.save()

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        serializer = self.get_serializer(data=request.data)
        with transaction.atomic():
            serializer.is_valid(raise_exception=True)
            row = self.create_row(serializer.validated_data, serializer)
        response = self.answer(row, status=201)
        self._set_location(response, row)
        return response

    def update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self._change(request, partial=False)

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self._change(request, partial=True)

    def _change(self, request: Request, *, partial: bool) -> Response:
        if_match = read_if_match(request)
        with transaction.atomic():
            row = self.locked_object()
            require_match(if_match, row)
            serializer = self.get_serializer(row, data=request.data, partial=partial)
            serializer.is_valid(raise_exception=True)
            row.revision += 1
            changed = self.change_row(row, serializer.validated_data, serializer)
        return self.answer(changed)

    update.needs_match = True  # type: ignore[attr-defined]
    partial_update.needs_match = True  # type: ignore[attr-defined]

    def _set_location(self, response: Response, row: Any) -> None:
        try:
            address = self.reverse_action("detail", args=[getattr(row, self.lookup_field)])
        except NoReverseMatch:
            return
        response.headers["Location"] = address


class DescribedViewSet(MasterViewSet):
    """Master data whose model describes its fields; `service` keeps the row that was given.

    The service checks and locks, so the row is read here without a lock.
    """

    service: ClassVar[Callable[..., Any]]

    def create_row(self, given: Any, serializer: Any) -> Any:
        return self.keep(serializer)

    def keep(self, serializer: Any, expected: Expected = None) -> Any:
        """The row as the service kept it."""
        row, names = serializer.given_row()
        return type(self).service(row, names, by=caller(self.request), expected=expected)

    def _change(self, request: Request, *, partial: bool) -> Response:
        expected = expected_of(read_if_match(request))
        serializer = self.get_serializer(self.get_object(), data=request.data, partial=partial)
        try:
            with transaction.atomic():
                serializer.is_valid(raise_exception=True)
                row = self.keep(serializer, expected)
        except ChangedMeanwhile as moved:
            now = moved.faults[0].details["revision"]
            raise Stale(
                f'Its ETag is now "{now}": read it again, then repeat your change.'
            ) from moved
        return self.answer(row)


def master_rules(change: Rule, *, look: Rule = Capability.READ) -> dict[str, Rule]:
    """Rules of a MasterViewSet: `look` is needed to read, `change` to write."""
    reading = dict.fromkeys(("list", "retrieve"), look)
    return {**reading, **dict.fromkeys(("create", "update", "partial_update"), change)}
