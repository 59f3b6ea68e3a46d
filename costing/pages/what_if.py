"""What if: prices, rates, yields and lye are moved, and every recipe's bar is costed anew."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.pages.drawn import length
from costing.pages.rules import GET, WORK_OUT
from costing.pages.what_if_form import REACH, ChangeForm, change_rows
from costing.queries.what_if import Question, what_if
from costing.queries.what_if_prices import changed_prices
from costing.queries.what_if_shown import plain_answer
from costing.queries.what_if_subjects import subjects_on
from studio.errors import Refusal
from studio.pages.ruled import page


@page(WORK_OUT, methods=GET)
def what_if_page(request: HttpRequest) -> HttpResponse:
    """The changes stand in the address, so the question can be kept and sent to others."""
    rows = change_rows(request.GET or None, subjects_on(timezone.localdate()))
    asked = any(row.is_bound and row["of"].value() for row in rows)
    found, trouble = (
        _answered(rows) if asked and all(row.is_valid() for row in rows) else (None, "")
    )
    context = {
        "rows": rows,
        "asked": asked,
        "found": found,
        "trouble": trouble,
        "reach": {kind: list(bounds) for kind, bounds in REACH.items()},
    }
    return render(request, "costing/what_if.html", context)


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
