"""What if over many recipes: asked for by a page, worked out by workers in parts, kept a week."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from costing.domain.rates.rates import RateKind
from costing.models.prices.prices import Product
from costing.queries.what_if.answer import changed_prices, merged, plain_answer
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Question, what_if
from studio.foundation.doers import By
from studio.foundation.errors import Refusal
from studio.work.jobs import WORKS, Arguments, Work, start

if TYPE_CHECKING:
    from studio.work.jobs import Job

WHAT_IF_JOB = "costing.what_if"
#: With more recipes than this a page does not wait for the answer; each part has so many.
AT_ONCE, IN_A_PART = 200, 50
_SHARES = ("by", "good_bars", "superfat", "lye_concentration")


def recipes_asked() -> list[str]:
    """The recipes that a question is about, by code: those of active products. One query."""
    rows = Product.objects.filter(active=True).order_by("formula__code")
    return list(rows.values_list("formula__code", flat=True).distinct())


def ask_what_if(
    changes: Sequence[Named],
    *,
    words: Sequence[str],
    recipes: Sequence[str],
    on: date,
    by: By,
    now: datetime,
) -> "Job":
    """Have workers find what changes do to these recipes; `words` tell the changes to people."""
    asked = {"changes": [_plain(each) for each in changes], "on": on.isoformat()}
    parts = [
        {**asked, "formulas": list(recipes[at : at + IN_A_PART])}
        for at in range(0, len(recipes), IN_A_PART)
    ]
    told = {**asked, "words": list(words), "recipes": len(recipes)}
    return start(name=WHAT_IF_JOB, arguments=told, parts=parts, by=by, now=now)


def _plain(named: Named) -> dict[str, str]:
    plain = {"material": named.material, "offer": named.offer, "rate": named.rate}
    plain |= {name: getattr(named, name) for name in _SHARES}
    return {name: str(value) for name, value in plain.items() if value not in ("", None)}


def _named(plain: Mapping[str, str]) -> Named:
    shares: dict[str, Any] = {name: Decimal(plain[name]) for name in _SHARES if name in plain}
    return Named(
        material=plain.get("material", ""),
        offer=plain.get("offer", ""),
        rate=RateKind(plain["rate"]) if "rate" in plain else None,
        **shares,
    )


def _find(arguments: Arguments) -> dict[str, Any]:
    question = Question(
        changes=[_named(each) for each in arguments["changes"]],
        on=date.fromisoformat(arguments["on"]),
        formulas=arguments["formulas"],
    )
    try:
        answer = what_if(question)
    except Refusal as refusal:
        # To try again would be refused again: it is an answer, not an accident.
        return {"refused": str(refusal)}
    return plain_answer(answer, changed_prices(answer))


def _write(arguments: Arguments, prepared: dict[str, Any], now: datetime) -> dict[str, Any]:
    """The answer of the part is all that comes of it."""
    return prepared


def _finish(job: "Job", now: datetime) -> dict[str, Any]:
    parts = [part.outcome for part in job.parts.order_by("pk")]
    answers = [each for each in parts if each and "refused" not in each]
    if not answers:
        return next((each for each in parts if each), {})
    answer = merged(answers)
    # What could not be asked of some recipes is told with what the others say.
    answer["notes"] += dict.fromkeys(each["refused"] for each in parts if "refused" in each)
    return answer


def register_what_if() -> None:
    """Make the job known, to pages and workers alike."""
    WORKS.register(
        Work(name=WHAT_IF_JOB, prepare=_find, write=_write, finish=_finish, shows_costs=True)
    )
