"""What if: prices, rates, yields and lye are moved, and every recipe's bar is costed anew."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone

from costing.pages.drawn import length
from costing.pages.rules import GET, WORK_OUT
from costing.pages.what_if.form import REACH, ChangeForm, change_rows
from costing.queries.what_if.prices import changed_prices
from costing.queries.what_if.shown import plain_answer
from costing.queries.what_if.subjects import subjects_on
from costing.queries.what_if.what_if import Question, what_if
from costing.services.what_if.job import AT_ONCE, WHAT_IF_JOB, ask_what_if, recipes_asked
from studio.foundation.errors import Refusal
from studio.web.pages.forms import see_other
from studio.web.pages.ruled import page, who
from studio.work.progress import job_progress


@page(WORK_OUT, methods=GET)
def what_if_page(request: HttpRequest) -> HttpResponse:
    """The changes stand in the address, so the question can be kept and sent to others."""
    rows = change_rows(request.GET or None, subjects_on(timezone.localdate()))
    asked = any(row.is_bound and row["of"].value() for row in rows)
    is_clear = asked and all(row.is_valid() for row in rows)
    recipes = len(recipes_asked()) if is_clear else 0
    found, trouble = _answered(rows) if is_clear and recipes <= AT_ONCE else (None, "")
    context = {
        "waits": recipes if recipes > AT_ONCE else 0,
        "query": request.GET.urlencode(),
        "rows": rows,
        "asked": asked,
        "found": found,
        "trouble": trouble,
        "reach": {kind: list(bounds) for kind, bounds in REACH.items()},
    }
    return render(request, "costing/what_if/what_if.html", context)


@page(WORK_OUT, methods=("POST",))
def what_if_ask(request: HttpRequest) -> HttpResponse:
    """Have workers answer a question about many recipes; its page tells how far they have come."""
    query = QueryDict(request.POST.get("query", ""))
    rows = change_rows(query, subjects_on(timezone.localdate()))
    if not all(row.is_valid() for row in rows):
        return see_other(request, "what-if-page", query=query.dict())
    changes = [(named, row.words()) for row in rows if (named := row.named()) is not None]
    if not changes:
        return see_other(request, "what-if-page")
    job = ask_what_if(
        [named for named, _ in changes],
        words=[words for _, words in changes],
        recipes=recipes_asked(),
        on=timezone.localdate(),
        by=who(request),
        now=timezone.now(),
    )
    return see_other(request, "what-if-answer-page", job.pk)


@page(WORK_OUT, methods=GET)
def what_if_answer(request: HttpRequest, number: int) -> HttpResponse:
    """How far workers have come, then their answer."""
    progress = job_progress(number, name=WHAT_IF_JOB, now=timezone.now())
    words, outcome = progress.job.arguments["words"], progress.outcome
    found = shown(dict(outcome), words) if outcome.get("recipes") else None
    trouble = outcome.get("refused", "") if progress.ended else ""
    context = {"progress": progress, "words": words, "found": found, "trouble": trouble}
    return render(request, "costing/what_if/answer.html", context)


def _answered(rows: list[ChangeForm]) -> tuple[dict[str, Any] | None, str]:
    changes = [(named, row.words()) for row in rows if (named := row.named()) is not None]
    question = Question(changes=[named for named, _ in changes], on=timezone.localdate())
    try:
        answer = what_if(question)
    except Refusal as refusal:
        return None, str(refusal)
    return shown(plain_answer(answer, changed_prices(answer)), [words for _, words in changes]), ""


def shown(plain: dict[str, Any], words: list[str]) -> dict[str, Any]:
    """An answer as its page shows it: with the changes in words, and bars to draw."""
    largest = max((abs(each["difference"] or 0) for each in plain["recipes"]), default=0)
    recipes = [
        {**each, "length": length(abs(each["difference"] or 0), largest)}
        for each in plain["recipes"]
    ]
    falls = [{**each, "kept": _share(each["changed_margin"])} for each in plain["falls"]]
    fell = [each for each in falls if not each["was_under"]]
    return {**plain, "recipes": recipes, "words": words, "falls": falls, "fell": fell}


def _share(written: str | None) -> Decimal | None:
    return None if written is None else Decimal(written)
