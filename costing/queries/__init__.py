"""The reads of costing: one function a question, each with a fixed number of queries."""

from costing.queries.batches import BatchCosting, cost_of_batch
from costing.queries.plans import MissingPrice, PlanCosting, cost_of_plan, costs_of_plan
from costing.queries.rates import missing_rates_note, rates_of_day

__all__ = [
    "BatchCosting",
    "MissingPrice",
    "PlanCosting",
    "cost_of_batch",
    "cost_of_plan",
    "costs_of_plan",
    "missing_rates_note",
    "rates_of_day",
]
