"""Pages of bounded size that do not jump when rows come in between (cursor paging)."""

from typing import Any

from django.core.exceptions import FieldDoesNotExist, ValidationError
from rest_framework import exceptions
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

from studio.web.api.parsing import keepable

JUNK = "That cursor is not one of ours: follow `next` and `previous` as they are given."


class BoundedCursorPagination(CursorPagination):
    """`?cursor=...&page_size=1..200`; ordered by the view's `ordering`, else by id."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
    ordering = ("id",)

    def get_page_size(self, request: Request) -> int:
        given = request.query_params.get("page_size")
        if given is None:
            return self.page_size
        if not (given.isascii() and given.isdigit() and len(given) <= 3):
            raise self._bad_size()
        size = int(given)
        if not 1 <= size <= self.max_page_size:
            raise self._bad_size()
        return size

    def _bad_size(self) -> exceptions.ValidationError:
        words = f"A whole number from 1 to {self.max_page_size}."
        return exceptions.ValidationError({"page_size": [words]}, "page-size")

    def get_ordering(self, request: Request, queryset: Any, view: Any) -> tuple[str, ...]:
        return tuple(getattr(view, "ordering", None) or self.ordering)

    def paginate_queryset(
        self, queryset: Any, request: Request, view: Any = None
    ) -> list[Any] | None:
        self._position_field = self.get_ordering(request, queryset, view)[0].lstrip("-")
        self._model = queryset.model
        return super().paginate_queryset(queryset, request, view)

    def decode_cursor(self, request: Request) -> Cursor | None:
        junk = exceptions.ValidationError({"cursor": [JUNK]}, "cursor")
        try:
            cursor = super().decode_cursor(request)
        except exceptions.NotFound as error:
            raise junk from error
        if cursor is None or cursor.position is None:
            return cursor
        if not keepable(str(cursor.position)):
            raise junk
        try:  # a position made up by the caller must not reach the database unread
            self._model._meta.get_field(self._position_field).to_python(cursor.position)
        except FieldDoesNotExist:
            pass  # ordered by an annotation
        except (ValidationError, ValueError, TypeError, OverflowError) as error:
            raise junk from error
        return cursor
