"""Buy plans: the cheapest way to buy what runs short, with its proof; then draft orders."""

from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request

from inventory.api.buying.orders import OrderSerializer
from inventory.domain.buying.plan import Outcome
from inventory.models.buying.orders import BuyPlan
from inventory.queries.buying.plan_inputs import buy_plans
from inventory.queries.stock.on_order import orders
from inventory.services.buying.plans import (
    LONGEST_DAYS,
    MOST_ROUNDS,
    MOST_SECONDS,
    BuyOptions,
    make_plan,
    order_plan,
)
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.quantities import StockAmountField


class BuyOptionsSerializer(StrictSerializer):
    """How to plan; without anything, for what runs short within 30 days, ordering today."""

    days = serializers.IntegerField(min_value=1, max_value=LONGEST_DAYS, required=False)
    rounds = serializers.IntegerField(
        min_value=1, max_value=MOST_ROUNDS, required=False, help_text="Order dates, today first."
    )
    days_between = serializers.IntegerField(min_value=1, max_value=LONGEST_DAYS, required=False)
    budget = MoneyField(
        required=False, allow_null=True, help_text="For goods, freight and handling together."
    )
    single_source = serializers.BooleanField(
        required=False, help_text="Each material from one supplier only."
    )
    blocked = serializers.ListField(
        child=CodeField(), required=False, max_length=200, help_text="Suppliers not to order from."
    )
    keep_to_space = serializers.BooleanField(required=False)
    keep_to_shelf_life = serializers.BooleanField(required=False)
    seconds = serializers.IntegerField(
        min_value=1,
        max_value=MOST_SECONDS,
        required=False,
        help_text="Time limit of each question asked of the solver.",
    )


class BuyCostSerializer(StrictSerializer):
    """What a plan costs; `holding` is what keeping the stock costs, `total` what is smallest."""

    goods = MoneyField()
    freight = MoneyField()
    handling = MoneyField()
    holding = MoneyField()
    paid = MoneyField(help_text="Goods, freight and handling.")
    total = MoneyField()


class PlanLineSerializer(StrictSerializer):
    """Packs of one offer, and why."""

    offer = serializers.CharField()
    material = serializers.CharField()
    name = serializers.CharField()
    pack_written = serializers.CharField()
    packs = serializers.IntegerField()
    amount = StockAmountField(counted="counted")
    pack_price = MoneyField()
    price = MoneyField()
    arrives_on = serializers.DateField()
    order_by = serializers.DateField(
        allow_null=True, help_text="Ordered later, it comes too late for what it is needed for."
    )
    reason = serializers.CharField()


class PlanOrderSerializer(StrictSerializer):
    """What to order of one supplier on one day."""

    supplier = serializers.CharField()
    name = serializers.CharField()
    order_on = serializers.DateField()
    goods = MoneyField()
    freight = MoneyField()
    handling = MoneyField()
    lines = PlanLineSerializer(many=True)


class OtherLineSerializer(StrictSerializer):
    """Packs of one offer in the runner-up."""

    offer = serializers.CharField()
    packs = serializers.IntegerField()


class OtherOrderSerializer(StrictSerializer):
    """An order of the runner-up."""

    supplier = serializers.CharField()
    order_on = serializers.DateField()
    lines = OtherLineSerializer(many=True)


class OtherPlanSerializer(StrictSerializer):
    """The cheapest plan that buys another number of packs of at least one offer."""

    cost = BuyCostSerializer()
    orders = OtherOrderSerializer(many=True)


class ObstacleSerializer(StrictSerializer):
    """What stands in the way of a need."""

    code = serializers.CharField()
    message = serializers.CharField()


class PlanNeedSerializer(StrictSerializer):
    """So much of a material must have come by the end of a day, or be ordered on it where its
    reorder point is reached."""

    material = serializers.CharField()
    name = serializers.CharField()
    amount = StockAmountField(counted="counted")
    due = serializers.DateField()
    why = serializers.CharField()


class UnmetNeedSerializer(PlanNeedSerializer):
    """A need that no plan meets together with the others."""

    obstacles = ObstacleSerializer(many=True)


class LateNeedSerializer(PlanNeedSerializer):
    """A need that the quickest offer meets late; the plan buys it all the same."""

    earliest = serializers.DateField()
    order_by = serializers.DateField(help_text="When it had to be ordered to come in time.")
    offer = serializers.CharField()


class BuyPlanSerializer(AnswerSerializer):
    """A plan as it was found. No plan costs less than `bound`; `gap` is 0 when that is proven."""

    shows = BuyPlan
    says = (
        *("code", "state", "made_on", "created_at", "by.username as by", "options", "outcome"),
        *("cost", "bound", "gap", "orders", "runner_up", "runner_up_proven", "needs", "unmet"),
        *("late", "unlimited_by_shelf_life", "drafted"),
    )
    options = BuyOptionsSerializer()
    outcome = serializers.ChoiceField([one.value for one in Outcome], source="found.outcome")
    cost = BuyCostSerializer(source="found.cost", allow_null=True)
    bound = MoneyField(source="found.bound", allow_null=True)
    gap = MoneyField(source="found.gap", allow_null=True)
    orders = PlanOrderSerializer(source="found.orders", many=True)
    runner_up = OtherPlanSerializer(source="found.runner_up", allow_null=True)
    runner_up_proven = serializers.BooleanField(source="found.runner_up_proven")
    needs = PlanNeedSerializer(source="found.needs", many=True)
    unmet = UnmetNeedSerializer(source="found.unmet", many=True)
    late = LateNeedSerializer(source="found.late", many=True)
    unlimited_by_shelf_life = serializers.ListField(
        child=serializers.CharField(),
        source="found.unlimited_by_shelf_life",
        help_text="Materials that expire, but of whose use too little is known to limit anything.",
    )
    drafted = serializers.SerializerMethodField(help_text="The orders that were made of it.")

    def get_drafted(self, plan: BuyPlan) -> list[str]:
        return [order.code for order in plan.orders.all()]


SEEN = (Capability.READ, Capability.SEE_COSTS)
MADE = (Capability.KEEP_STOCK, Capability.SEE_COSTS)


class BuyPlanViewSet(ReadOnlyStudioViewSet):
    """Plans of what to buy, newest first; they are about costs altogether."""

    queryset = buy_plans()
    serializer_class = BuyPlanSerializer
    filterset_fields: ClassVar = ("state",)
    ordering = ("-id",)
    rules: ClassVar = {"list": SEEN, "retrieve": SEEN}

    @verb(MADE, given=BuyOptionsSerializer, status=201, once=False)
    def create(self, request: Request, given: Any) -> Any:
        """Find the cheapest plan for what runs short, prove it, and keep it. Orders nothing."""
        plan = make_plan(BuyOptions(**given), on=timezone.localdate(), by=caller(request))
        return self.made(self.get_queryset().get(pk=plan.pk))

    @verb(MADE, answer=OrderSerializer, status=201)
    def order(self, request: Request, code: str) -> Any:
        """Draft the orders of the plan, once, at the prices it was made with."""
        drafts = order_plan(code, by=caller(request))
        shown = orders().filter(pk__in=[draft.pk for draft in drafts]).order_by("pk")
        return self.answer(shown, many=True)
