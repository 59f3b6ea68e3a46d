"""Reorder policies: suggested from demand and lead times, adopted when somebody agrees."""

from functools import partial
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.buying.demand import EstimatedAmountField, EstimateField, ForecastSerializer
from inventory.api.filters import MaterialFilter
from inventory.domain.buying.policy import LeadTimeSource
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.queries.buying.policies import SuggestedPolicy, suggested_policies
from inventory.services.buying.policy import adopt_policy, change_aims, policy_of, settings_of
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.concurrency import read_if_match, require_match, set_etag
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.views import StudioView
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField, ShareField
from studio.web.serializer_fields.quantities import StockAmountField

COUNTED = "material.counted"
#: The published formulas by what they give; sources stand with the functions of the domain.
FORMULAS = {
    "safety_stock": (
        "z x sqrt(L x s_d^2 + d^2 x s_L^2)",
        "Operations Management, 14th ed., chapter 12",
    ),
    "reorder_point": ("d x L + safety stock", "Operations Management, 14th ed., chapter 12"),
    "economic_quantity": ("sqrt(2 x K x D / h)", "Harris, Factory 10 (1913), 135-136, 152"),
    "price_breaks": (
        "the cheapest of each price's economic quantity and smallest amount",
        "Hadley and Whitin, Analysis of Inventory Systems (1963), section 2-11",
    ),
    "reorder_to": (
        "reorder point + economic quantity in whole packs",
        "Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains, 4th ed.",
    ),
}


def _estimate(source: str, words: str) -> EstimatedAmountField:
    return EstimatedAmountField(
        counted=COUNTED, source=f"suggestion.{source}", help_text=words, allow_null=True
    )


class LeadTimeSerializer(StrictSerializer):
    """Days from order to delivery, with the number of orders they were learned from."""

    mean_days = EstimateField(source="mean")
    sd_days = EstimateField(source="sd")
    sample = serializers.IntegerField(help_text="Orders; 0 when it is only stated.")
    learned_from = serializers.ChoiceField(
        source="source", choices=[each.value for each in LeadTimeSource]
    )


class AimsSerializer(StrictSerializer):
    """What the studio aims at when it reorders this material."""

    cost_fields = ("order_cost",)
    service_level = ShareField(read_only=True)
    order_cost = MoneyField(read_only=True, help_text="Of one order, beside its goods.")
    holding_share = DecimalTextField(
        places=6, read_only=True, help_text="A year of holding, as a share of the value."
    )
    time_to_use_days = serializers.IntegerField(read_only=True)


class PurchaseSerializer(StrictSerializer):
    """What to buy at a time: whole packs of one offer."""

    cost_fields = ("annual_cost",)
    offer = serializers.CharField(source="suggestion.purchase.offer")
    packs = serializers.IntegerField(source="suggestion.purchase.packs")
    amount = StockAmountField(source="suggestion.purchase.amount", counted=COUNTED)
    economic_quantity = _estimate("purchase.ideal", "Before it became whole packs.")
    annual_cost = serializers.SerializerMethodField(help_text="Buying, ordering and holding.")
    kept_short = serializers.BooleanField(
        source="suggestion.purchase.kept_short",
        help_text="Even the smallest purchase is more than is used while it keeps.",
    )

    @extend_schema_field(MoneyField())
    def get_annual_cost(self, policy: SuggestedPolicy) -> Any:
        purchase = policy.suggestion.purchase
        return MoneyField().to_representation(round(purchase.annual_cost)) if purchase else None


class PublishedFormulaSerializer(StrictSerializer):
    """A published formula."""

    gives = serializers.CharField()
    formula = serializers.CharField()
    published_in = serializers.CharField()


class PolicySerializer(StrictSerializer):
    """A suggested policy: what it is now, what it could be, and why.

    d and s_d are mean and standard deviation of a day's demand, L and s_L of the lead time, z the
    normal quantile of the service level, D demand of a year, K the cost of an order, h that of
    holding a unit for a year.
    """

    material = serializers.CharField(source="material.code")
    name = serializers.CharField(source="material.name")
    reorder_point = StockAmountField(
        source="material.reorder_point", counted=COUNTED, allow_null=True
    )
    reorder_to = StockAmountField(source="material.reorder_to", counted=COUNTED, allow_null=True)
    suggested_reorder_point = StockAmountField(
        source="suggestion.reorder_point", counted=COUNTED, allow_null=True
    )
    suggested_reorder_to = StockAmountField(
        source="suggestion.reorder_to", counted=COUNTED, allow_null=True
    )
    gaps = serializers.ListField(
        child=serializers.CharField(), source="suggestion.gaps", help_text="What is missing."
    )
    period = serializers.CharField(help_text="In which past use was counted.")
    forecast = ForecastSerializer(source="*")
    demand_mean_per_day = _estimate("demand.mean", "d")
    demand_sd_per_day = _estimate("demand.sd", "s_d: of the forecast's errors, else of the use.")
    lead_time = LeadTimeSerializer(source="suggestion.lead_time", allow_null=True)
    aims = AimsSerializer(source="suggestion.aims")
    z = EstimateField(source="suggestion.at.z", allow_null=True)
    lead_time_demand = _estimate("at.expected", "d x L")
    safety_stock = _estimate("at.safety_stock", "z x the deviation of the lead time's demand.")
    purchase = serializers.SerializerMethodField()
    formulas = serializers.SerializerMethodField()
    revision = serializers.IntegerField(help_text="Of the material.")

    @extend_schema_field(PurchaseSerializer(allow_null=True))
    def get_purchase(self, policy: SuggestedPolicy) -> Any:
        if policy.suggestion.purchase is None:
            return None
        return PurchaseSerializer(policy, context=self.context).data

    @extend_schema_field(PublishedFormulaSerializer(many=True))
    def get_formulas(self, policy: SuggestedPolicy) -> Any:
        rows = [
            {"gives": gives, "formula": formula, "published_in": source}
            for gives, (formula, source) in FORMULAS.items()
        ]
        return PublishedFormulaSerializer(rows, many=True).data


class PolicySettingsSerializer(StrictModelSerializer[PolicySettings]):
    """Aims that are kept; what is null is taken from the studio's, or from the defaults."""

    cost_fields = ("order_cost",)
    service_level = ShareField(required=False, allow_null=True)
    order_cost = MoneyField(required=False, allow_null=True)
    holding_share = DecimalTextField(places=6, required=False, allow_null=True)
    time_to_use_days = serializers.IntegerField(required=False, allow_null=True, min_value=0)

    class Meta:
        model = PolicySettings
        fields = ("service_level", "order_cost", "holding_share", "time_to_use_days", "revision")
        read_only_fields = ("revision",)


class PolicyViewSet(ReadOnlyStudioViewSet):
    """What each material's reorder point and order-up-to level could be, and the numbers behind.

    The ETag is that of the material: adopting changes it.
    """

    queryset = Material.objects.filter(active=True).order_by("code")
    serializer_class = PolicySerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    rules: ClassVar = {"change_aims": Capability.KEEP_STOCK}
    given_serializers: ClassVar = {"change_aims": PolicySettingsSerializer}
    answer_serializers: ClassVar = {"change_aims": PolicySettingsSerializer}

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset())) or []
        wanted = Material.objects.filter(pk__in=[material.pk for material in page])
        shown = suggested_policies(on=timezone.localdate(), materials=wanted) if page else []
        return self.get_paginated_response(self.get_serializer(shown, many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(policy_of(self.get_object().code))

    @verb(Capability.KEEP_STOCK)
    def adopt(self, request: Request, code: str) -> Any:
        """Make the suggested reorder point and level the material's own."""
        if_match = read_if_match(request)
        require_match(if_match, self.locked_object())
        adopt_policy(code, by=caller(request))
        return policy_of(code)

    adopt.needs_match = True

    @look(Capability.READ, answer=PolicySettingsSerializer)
    def aims(self, request: Request, code: str) -> Any:
        """What is aimed at for this material apart from the studio's aims."""
        return settings_of(self.get_object())

    @aims.mapping.patch  # type: ignore[untyped-decorator]
    def change_aims(self, request: Request, code: str) -> Response:
        """Aim at something else for this material; null is the studio's own aim again."""
        return self.answer(_change(self.get_object(), request, self))

    change_aims.needs_match = True


class StudioAimsView(StudioView):
    """What the studio aims at for materials that have no aims of their own."""

    serializer_class = PolicySettingsSerializer
    rules: ClassVar = {"get": Capability.READ, "patch": Capability.SETTLE}

    def get(self, request: Request) -> Response:
        return self._answer(settings_of(None))

    def patch(self, request: Request) -> Response:
        return self._answer(_change(None, request, self))

    patch.needs_match = True  # type: ignore[attr-defined]

    def _answer(self, row: PolicySettings) -> Response:
        response = Response(self.get_serializer(row).data)
        set_etag(response, row)
        return response


def _change(material: Material | None, request: Request, view: StudioView) -> PolicySettings:
    """Read the changes of aims and keep them. Raises Stale, ValidationError, MaterialRefusal."""
    if_match = read_if_match(request)
    serializer: serializers.BaseSerializer[Any] = PolicySettingsSerializer(
        data=request.data, partial=True, context=view.get_serializer_context()
    )
    serializer.is_valid(raise_exception=True)
    return change_aims(
        material, serializer.validated_data, unchanged=partial(require_match, if_match)
    )
