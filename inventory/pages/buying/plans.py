"""Buy plans: what to plan for, the plan with its reasons, and one click to its orders."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.models.buying.orders import BuyPlan
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.queries.buying.orders import orders_listed
from inventory.queries.buying.plan_inputs import buy_plans
from inventory.services.buying.plan_job import BUY_PLAN_JOB, ask_for_plan
from inventory.services.buying.plans import LONGEST_DAYS, MOST_ROUNDS, BuyOptions, order_plan
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Capability
from studio.web.form_fields import MoneyFormField
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other
from studio.web.pages.ruled import GET, page, who
from studio.work.jobs import Job
from studio.work.progress import job_progress

#: So long a page waits for each question that the solver is asked; small studios need far less.
PATIENCE = 5
EARLIER = 10
DRAFTS_NAMED = 5
SEEN = (Capability.READ, Capability.SEE_COSTS)
MADE = (Capability.KEEP_STOCK, Capability.SEE_COSTS)
#: What each step of finding a plan does, in words.
STEP = {
    "": "It waits for a worker.",
    "read": "What runs short, and who offers it, is read.",
    "solve": "Packs, price breaks, freight and days to come are compared.",
    "check": "What was found is checked in whole cents and packs.",
}
DAYS = ("due", "earliest", "order_by", "order_on", "arrives_on")


class BuyPlanForm(forms.Form):
    """How to plan."""

    days = forms.IntegerField(
        min_value=1,
        max_value=LONGEST_DAYS,
        initial=30,
        label="Days to look ahead",
        help_text="What runs short within these days is bought.",
    )
    budget = MoneyFormField(
        required=False,
        label="Budget",
        help_text="For goods, freight and handling together; empty for none.",
    )
    rounds = forms.IntegerField(
        min_value=1, max_value=MOST_ROUNDS, initial=1, label="Days to order on, today first"
    )
    days_between = forms.IntegerField(
        min_value=1, max_value=LONGEST_DAYS, initial=7, label="Days between them"
    )
    single_source = forms.BooleanField(required=False, label="Each material from one supplier only")
    keep_to_space = forms.BooleanField(
        required=False, initial=True, label="No more than there is room for"
    )
    keep_to_shelf_life = forms.BooleanField(
        required=False, initial=True, label="No more than is used while it keeps"
    )
    blocked = forms.MultipleChoiceField(
        required=False, label="Order nothing from", widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        suppliers = Supplier.objects.filter(active=True).order_by("name")
        self.fields["blocked"].choices = list(  # type: ignore[attr-defined]
            suppliers.values_list("code", "name")
        )


@page(MADE)
def new_buy_plan(request: HttpRequest) -> HttpResponse:
    """What to plan for; a worker finds the plan, and its page tells how far it has come."""
    form = BuyPlanForm(request.POST or None, initial=_asked_before(request.GET.get("again", "")))
    if request.method == "POST" and form.is_valid():
        options = BuyOptions(**form.cleaned_data, seconds=PATIENCE)
        with faults_on(form):
            job = ask_for_plan(
                options, on=timezone.localdate(), by=who(request), now=timezone.now()
            )
            return see_other(request, "buy-plan-job-page", job.pk)
    context = {
        "form": form,
        "earlier": list(buy_plans()[:EARLIER]),
        "drafts": list(orders_listed(state="draft").order_by("id")[:DRAFTS_NAMED]),
    }
    return form_page(request, "inventory/buying/plan_new.html", context)


def _asked_before(number: str) -> dict[str, Any]:
    """What an earlier job was asked, to be asked again with changes."""
    job = (
        Job.objects.filter(pk=number, name=BUY_PLAN_JOB, parent=None) if number.isdecimal() else ()
    )
    return next((dict(one.arguments["options"]) for one in job), {})


@page(MADE, methods=GET)
def buy_plan_job_page(request: HttpRequest, number: int) -> HttpResponse:
    """How far a plan has come; it leads to the plan once that is there."""
    progress = job_progress(number, name=BUY_PLAN_JOB, now=timezone.now())
    if code := progress.outcome.get("plan"):
        return see_other(request, "buy-plan-page", code)
    return render(request, "inventory/buying/plan_job.html", {"progress": progress, "words": STEP})


@page(SEEN, methods=GET)
def buy_plan_page(request: HttpRequest, code: str) -> HttpResponse:
    """A plan as it was found: what to buy, why, what else could be, what could not."""
    return _plan_page(request, code, forms.Form())


@page(MADE, methods=("POST",), once=True)
def order_buy_plan(request: HttpRequest, code: str) -> HttpResponse:
    """Draft the orders of a plan."""
    try:
        drafts = order_plan(code, by=who(request))
    except NotFound:
        raise
    except Refusal as refusal:
        return _plan_page(request, code, refused_form(refusal))
    if len(drafts) == 1:
        messages.success(request, "The order is drafted. Place it when you have read it.")
        return see_other(request, "purchase-order-page", drafts[0].code)
    messages.success(request, f"{len(drafts)} orders are drafted. Place each when you read it.")
    return see_other(request, "purchase-orders-page", query={"state": "draft"})


def _plan_page(request: HttpRequest, code: str, form: forms.Form) -> HttpResponse:
    plan = buy_plans().filter(code=code).first()
    if plan is None:
        raise NotFound(f"There is no buy plan {code}.")
    found = dated(plan.found)
    context = {
        "plan": plan,
        "found": found,
        "lines_count": sum(len(order["lines"]) for order in found["orders"]),
        "other": _runner_up(found),
        "drafted": list(plan.orders.all()),
        "form": form,
        "is_open": plan.state == BuyPlan.State.OPEN,
    }
    return form_page(request, "inventory/buying/plan.html", context)


def dated(value: Any) -> Any:
    """Plain values of a plan with its days as dates."""
    if isinstance(value, Mapping):
        return {
            name: date.fromisoformat(each) if name in DAYS and each else dated(each)
            for name, each in value.items()
        }
    return [dated(each) for each in value] if isinstance(value, list) else value


def _runner_up(found: Mapping[str, Any]) -> dict[str, Any] | None:
    """The next best plan: how much more it costs, and its orders with the packs in words."""
    other, cost = found["runner_up"], found["cost"]
    if not other or not cost:
        return None
    codes = [line["offer"] for order in other["orders"] for line in order["lines"]]
    offers = {
        offer.code: offer
        for offer in Offer.objects.filter(code__in=codes).select_related("material", "supplier")
    }
    orders = [_other_order(order, offers) for order in other["orders"]]
    return {"more": other["cost"]["total"] - cost["total"], "cost": other["cost"], "orders": orders}


def _other_order(order: Mapping[str, Any], offers: Mapping[str, Offer]) -> dict[str, Any]:
    lines = [(line["packs"], offers.get(line["offer"]), line["offer"]) for line in order["lines"]]
    names = [offer.supplier.name for _, offer, _ in lines if offer]
    return {
        "supplier": names[0] if names else order["supplier"],
        "order_on": order["order_on"],
        "lines": lines,
    }
