"""A buy plan in the background: asked for by a page, found by a worker, kept like any other."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from inventory.services.buying.plans import (
    STEPS,
    BuyOptions,
    check_options,
    find_plan,
    keep_plan,
    plain_options,
)
from studio.foundation.doers import By
from studio.foundation.errors import Refusal
from studio.work.jobs import WORKS, Arguments, Job, Work, start, tell

BUY_PLAN_JOB = "inventory.buy_plan"


def ask_for_plan(options: BuyOptions, *, on: date, by: By, now: datetime) -> Job:
    """Have a worker find a plan. Raises MaterialRefusal for options that cannot be."""
    check_options(options)
    asked = {"options": plain_options(options), "on": on.isoformat(), "by": by.pk if by else None}
    return start(name=BUY_PLAN_JOB, arguments=asked, parts=[asked], by=by, now=now)


def options_of(arguments: Arguments) -> BuyOptions:
    """The options that a job was asked with."""
    return BuyOptions(**arguments["options"])


def _find(arguments: Arguments) -> Mapping[str, Any]:
    day = date.fromisoformat(arguments["on"])
    try:
        return {"found": find_plan(options_of(arguments), on=day, said=_tell)}
    except Refusal as refusal:
        # To try again would be refused again: it is an answer, not an accident.
        return {"refused": str(refusal)}


def _tell(step: str) -> None:
    tell({"done": STEPS.index(step), "of": len(STEPS), "step": step})


def _keep(arguments: Arguments, prepared: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    if "refused" in prepared:
        return dict(prepared)
    plan = keep_plan(
        options_of(arguments),
        prepared["found"],
        on=date.fromisoformat(arguments["on"]),
        by_id=arguments["by"],
    )
    return {"plan": plan.code}


def _finish(job: Job, now: datetime) -> dict[str, Any]:
    part = job.parts.get()
    return dict(part.outcome)


def register_plans() -> None:
    """Make the job known, to pages and workers alike."""
    WORKS.register(
        Work(name=BUY_PLAN_JOB, prepare=_find, write=_keep, finish=_finish, shows_costs=True)
    )
