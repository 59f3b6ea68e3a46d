"""What a batch cost, and what a recipe would cost."""

from typing import Any, ClassVar

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.answers import BatchCostSerializer, PlanCostSerializer, shown_basis, shown_batch
from costing.api.targets import CostRequestSerializer, wish_of
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from recipes.queries.formulas.formulas import load_formula
from recipes.services.scaling.planning import make_plan
from studio.foundation.roles import Capability
from studio.web.api.views import ComputeView, StudioView
from studio.web.permissions import Rules


class BatchCostView(StudioView):
    """What a poured, cut or cured batch cost, line by line, and each good bar of it."""

    serializer_class = BatchCostSerializer
    rules: ClassVar[Rules] = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def get(self, request: Request, code: str) -> Response:
        """The cost of a batch, from the books."""
        return Response(self.get_serializer(shown_batch(cost_of_batch(code))).data)


class FormulaCostView(ComputeView):
    """What a recipe would cost at a size, on one price basis or all of them. Stores nothing."""

    given_serializer = CostRequestSerializer
    answer_serializer = PlanCostSerializer
    rules: ClassVar[Rules] = {"post": (Capability.READ, Capability.COMPUTE, Capability.SEE_COSTS)}

    def compute(self, given: Any) -> Any:
        loaded = load_formula(code=self.kwargs["code"], number=given.get("version"))
        plan = make_plan(loaded, wish_of(given["target"]))
        on = given.get("on") or timezone.localdate()
        bases = (PriceBasis(given["basis"]),) if "basis" in given else tuple(PriceBasis)
        return {
            "formula": loaded.version.formula.code,
            "version": loaded.version.number,
            "on": on,
            "costs": [shown_basis(each) for each in costs_of_plan(plan, on=on, bases=bases)],
        }
