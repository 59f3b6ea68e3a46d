"""Formulas by name, their versions and their scaling."""

from functools import partial
from typing import Any, ClassVar

from django.db.models import Max, Prefetch, QuerySet
from django.http import Http404
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.queries.catalog.materials import materials_by_code
from recipes.api.scaling.plan_answers import PlanSerializer, shown_plan
from recipes.api.targets import ScaleRequestSerializer, wish_of
from recipes.api.version_fields import (
    ALKALIS,
    AcceptWorstSerializer,
    VersionSerializer,
    spec_of,
)
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaVersion
from recipes.queries.formulas.formulas import load_formula, marked
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.shelf import check_shelf
from recipes.services.chemistry.worst_superfat import accept_worst
from recipes.services.formulas.formulas import (
    CHANGING,
    add_formula,
    add_version,
    change_formula,
    make_current,
    rewrite_version,
)
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.concurrency import read_if_match, require_match
from studio.web.api.histories import HistoryViewSet
from studio.web.api.lists.filtering import Filters, YesNoFilter
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import MasterViewSet, ReadOnlyStudioViewSet, master_rules
from studio.web.serializer_fields.quantities import BaseQuantityField

CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, description="Code of the formula.")
NUMBER = OpenApiParameter("number", int, OpenApiParameter.PATH)
FIXED = ("code", "kind", "product")


@extend_schema_view(
    list=extend_schema(parameters=[CODE]),
    create=extend_schema(parameters=[CODE]),
    retrieve=extend_schema(parameters=[CODE, NUMBER]),
    update=extend_schema(parameters=[CODE, NUMBER]),
)
class VersionViewSet(ReadOnlyStudioViewSet):
    """What goes into a formula. A version is frozen once a batch uses it; then write a new one.

    The first version is current at once, a later one is a trial until `make-current`.
    """

    queryset = FormulaVersion.objects.select_related("formula", *ALKALIS).prefetch_related(
        "lines__material",
        "portions",
        "layers",
        Prefetch("accepted_worst", AcceptedWorst.objects.select_related("by")),
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

    @extend_schema(parameters=[CODE, NUMBER])
    @verb(Capability.PLAN)
    def make_current(self, request: Request, code: str, number: str) -> Response:
        """Let products, orders, costs and plans follow this version from now on.

        An earlier version may be chosen again; the one that is current stays so.
        """
        version = self.get_object()
        make_current(version, by=caller(request))
        return self._shown(version)

    @extend_schema(parameters=[CODE, NUMBER])
    @verb(Capability.PLAN, given=AcceptWorstSerializer)
    def accept_worst(self, request: Request, code: str, number: str, given: Any) -> Response:
        """Accept by name that its superfat may be below zero at its worst, before a batch asks.

        By the values of its materials; lots whose certificates make it worse ask again. Lye burns:
        what is not known of the alkali and the fats is known once their certificates are entered.
        """
        version = self.get_object()
        accept_worst(version, given.get("accept_worst"), by=caller(request))
        return self._shown(version)

    def _formula(self) -> Formula:
        formula = Formula.objects.filter(code=self.kwargs["code"]).first()
        if formula is None:
            raise Http404
        return formula

    def _shown(self, version: FormulaVersion) -> Response:
        return self.answer(marked(self.get_queryset().get(pk=version.pk)))


@extend_schema_view(list=extend_schema(parameters=[CODE]))
class FormulaHistoryViewSet(HistoryViewSet):
    """Changes of a recipe, and of what goes into it by its versions."""

    model: ClassVar = Formula


class FormulaSerializer(StrictModelSerializer[Formula]):
    """A formula with the materials that stand for what it makes, its newest version, and the
    current one: that is made, sold and costed where no version is named."""

    product = serializers.SlugField(source="product.code", required=False, max_length=40)
    batter = serializers.SlugField(source="batter.code", read_only=True, allow_null=True)
    least_make = BaseQuantityField(
        unit="g",
        required=False,
        allow_null=True,
        help_text="Of a blend: the least that is made of it where a plan asks for less.",
    )
    newest_version = serializers.IntegerField(read_only=True, allow_null=True)
    current_version = serializers.IntegerField(
        source="current.number", read_only=True, allow_null=True
    )
    current_by = serializers.CharField(
        source="current_by.username", read_only=True, allow_null=True
    )

    class Meta:
        model = Formula
        fields = (
            "code",
            "name",
            "kind",
            "product",
            "batter",
            "least_make",
            "newest_version",
            "current_version",
            "current_since",
            "current_by",
            "note",
            "active",
            "revision",
            "changed_by",
        )
        read_only_fields = ("current_since", "revision", "changed_by")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        product = attrs.pop("product", None)
        if product is not None:
            attrs["product"] = product["code"]
        if self.instance is not None:
            _refuse_changes(self.instance, attrs)
        elif product is not None:
            found = materials_by_code([product["code"]])
            if not found:
                raise InvalidInput(f"There is no material {product['code']}.", field="product")
            attrs["product"] = found[product["code"]]
        return attrs


def _refuse_changes(formula: Any, attrs: dict[str, Any]) -> None:
    """What a formula makes is named after it, so these stay as they were made."""
    now = {"code": formula.code, "kind": formula.kind, "product": formula.product.code}
    faults = Faults()
    for name in FIXED:
        if name in attrs and attrs.pop(name) != now[name]:
            faults.add("fixed", f"It stays {now[name]}: make a new formula instead.", name)
    faults.raise_if_any(InvalidInput)


class FormulaFilters(Filters):
    """Formulas by what they make."""

    kind = filters.ChoiceFilter(choices=FormulaKind.choices)
    active = YesNoFilter()


class FormulaViewSet(MasterViewSet):
    """Recipes by name. What goes in stands in their versions."""

    queryset = (
        Formula.objects.select_related("product", "batter", "current", "current_by")
        .annotate(newest_version=Max("versions__number"))
        .order_by("code")
    )
    serializer_class = FormulaSerializer
    filterset_class = FormulaFilters
    ordering = ("code",)
    given_serializers = {"scale": ScaleRequestSerializer}
    answer_serializers = {"scale": PlanSerializer}
    rules = {**master_rules(Capability.PLAN), "scale": (Capability.COMPUTE, Capability.READ)}

    def create_row(self, given: Any, serializer: serializers.BaseSerializer[Any]) -> Formula:
        made = add_formula(**given)
        made.newest_version = None  # type: ignore[attr-defined]
        return made

    def change_row(
        self, row: Formula, given: Any, serializer: serializers.BaseSerializer[Any]
    ) -> Formula:
        values = {name: given.get(name, getattr(row, name)) for name in CHANGING}
        changed = change_formula(row, by=caller(self.request), **values)
        changed.newest_version = row.newest_version  # type: ignore[attr-defined]
        return changed

    @action(detail=True, methods=["post"])
    def scale(self, request: Request, code: str) -> Response:
        """Scale a version to a mold, volume, mass or bars; look whether the shelf covers it.

        Stores nothing. Weights are those of the scale's step and of whole pieces.
        """
        given = self.read(request)
        wish = wish_of(given["target"])
        plan = make_plan(load_formula(code=code, number=given.get("version")), wish)
        on = given.get("on") or timezone.localdate()
        shelf = check_shelf(plan.needs, plan.materials, on=on)
        return self.answer(shown_plan(plan, shelf=shelf, on=on))
