"""Versions of a formula: written, read, and rewritten while no batch has used them."""

from functools import partial
from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.queries.catalog.materials import materials_by_code
from recipes.api.version_fields import ALKALIS, VersionSerializer, spec_of
from recipes.models.formulas.formulas import Formula, FormulaVersion
from recipes.queries.formulas.fingerprints import marked
from recipes.services.formulas.formulas import add_version, rewrite_version
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.concurrency import read_if_match, require_match
from studio.web.api.viewsets import ReadOnlyStudioViewSet

CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, description="Code of the formula.")
NUMBER = OpenApiParameter("number", int, OpenApiParameter.PATH)


@extend_schema_view(
    list=extend_schema(parameters=[CODE]),
    create=extend_schema(parameters=[CODE]),
    retrieve=extend_schema(parameters=[CODE, NUMBER]),
    update=extend_schema(parameters=[CODE, NUMBER]),
)
class VersionViewSet(ReadOnlyStudioViewSet):
    """What goes into a formula. A version is frozen once a batch uses it; then write a new one."""

    queryset = FormulaVersion.objects.select_related("formula", *ALKALIS).prefetch_related(
        "lines__material", "portions", "layers"
    )
    serializer_class = VersionSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    ordering = ("-number",)
    rules = {"create": Capability.PLAN, "update": Capability.PLAN}
    statuses = {"create": 201}

    def get_queryset(self) -> QuerySet[FormulaVersion]:
        return super().get_queryset().filter(formula__code=self.kwargs.get("code", ""))

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        self._formula()
        return super().list(request, *args, **kwargs)

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Write the next version of the formula."""
        formula = self._formula()
        spec = spec_of(self.read(request), find=materials_by_code)
        return self._shown(add_version(formula, spec, by=caller(request)))

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(marked(self.get_object()))

    def update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Replace a version that no batch has used yet."""
        if_match = read_if_match(request)
        version = self.get_object()
        spec = spec_of(self.read(request), find=materials_by_code)
        changed = rewrite_version(
            version, spec, unchanged=partial(require_match, if_match), by=caller(request)
        )
        return self._shown(changed)

    update.needs_match = True  # type: ignore[attr-defined]

    def _formula(self) -> Formula:
        formula = Formula.objects.filter(code=self.kwargs["code"]).first()
        if formula is None:
            raise Http404
        return formula

    def _shown(self, version: FormulaVersion) -> Response:
        return self.answer(marked(self.get_queryset().get(pk=version.pk)))
