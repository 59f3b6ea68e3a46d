"""What if: prices, rates, yields and lye are moved, and every recipe's bar is costed anew."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone

from costing.domain.rates.rates import RateKind
from costing.pages.dated import WORK_OUT
from costing.pages.drawn import length
from costing.pages.rates.set_up import RATES
from costing.queries.what_if.answer import changed_prices, plain_answer
from costing.queries.what_if.named import MOST_CHANGES, Named, Subjects, subjects_on
from costing.queries.what_if.what_if import Question, what_if
from costing.services.what_if.job import AT_ONCE, WHAT_IF_JOB, ask_what_if, recipes_asked
from recipes.domain.chemistry.formula_check import GREATEST_SUPERFAT, WEAKEST_LYE
from recipes.domain.chemistry.lye import STRONGEST_LYE
from studio.foundation.errors import Refusal
from studio.web.form_fields import ShareFormField
from studio.web.pages.forms import see_other
from studio.web.pages.ruled import GET, page, who
from studio.work.progress import job_progress

#: What the slider of a subject reaches, in percent, and where it begins: how far a price moves, or
#: what a share is to be.
REACH: Mapping[str, tuple[int, int, int]] = {
    "material": (-50, 100, 10),
    "offer": (-50, 100, 10),
    "rate": (-50, 100, 10),
    "good_bars": (50, 100, 95),
    "superfat": (0, 20, 5),
    "lye_concentration": (20, 50, 33),
}
_SHARES: Mapping[str, tuple[str, Decimal, Decimal]] = {
    "good_bars": ("Good bars, of all that are cut", Decimal("0.01"), Decimal(1)),
    "superfat": ("Superfat of every recipe", Decimal(0), GREATEST_SUPERFAT),
    "lye_concentration": ("Lye concentration of every recipe", WEAKEST_LYE, STRONGEST_LYE),
}
SHOWN_AT_FIRST = 2


class MoveField(ShareFormField):
    """How far something moves ("+30 %"), or what a share is to be ("6 %")."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(least=Decimal(-1), most=Decimal(10), **kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        """A plus sign says nothing more."""
        return super().to_python(
            value.strip().removeprefix("+") if isinstance(value, str) else value
        )


class ChangeForm(forms.Form):
    """One change. The slider is a comfort of the script; the number counts."""

    of = forms.ChoiceField(required=False, label="What changes")
    to = MoveField(required=False, label="By, or to")

    def __init__(self, *args: Any, subjects: Subjects, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.subjects = subjects
        self.fields["of"].choices = [("", "Nothing"), *choices(subjects)]  # type: ignore[attr-defined]

    @property
    def kind(self) -> str:
        """What sort of thing is chosen; empty where none is."""
        return str(self["of"].value() or "").partition(":")[0]

    @property
    def reach(self) -> tuple[int, int, int]:
        """What the slider reaches."""
        return REACH.get(self.kind, REACH["material"])

    @property
    def slid(self) -> str:
        """Where the slider stands: the number, in whole percent."""
        try:
            share = self.fields["to"].clean(self["to"].value())
        except forms.ValidationError:
            share = None
        return str(self.reach[2] if share is None else round(share * 100))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        kind, share = str(given.get("of", "")).partition(":")[0], given.get("to")
        if given.get("of") and share is None and "to" not in self.errors:
            self.add_error("to", "Say by how much, or to what: 30 %.")
        if kind in _SHARES and share is not None:
            _, least, most = _SHARES[kind]
            if not least <= share <= most:
                low, high = (f"{(bound * 100).normalize():f}" for bound in (least, most))
                self.add_error("to", f"Give a share from {low} to {high} %.")
        return given

    def named(self) -> Named | None:
        """The change as it is asked about; None for an empty row."""
        kind, _, code = self.cleaned_data["of"].partition(":")
        share = self.cleaned_data["to"]
        if not kind:
            return None
        if kind == "rate":
            return Named(rate=RateKind(code), by=share)
        if kind in _SHARES:
            return Named(**{kind: share})
        return Named(**{kind: code, "by": share})

    def words(self) -> str:
        """The change in words: "Olive oil +30 %"."""
        named = dict(flat(choices(self.subjects)))
        percent = f"{(self.cleaned_data['to'] * 100).normalize():f} %"
        if self.kind in _SHARES:
            return f"{named[self.cleaned_data['of']]}: {percent}"
        sign = "+" if self.cleaned_data["to"] > 0 else ""
        return f"{named[self.cleaned_data['of']]} {sign}{percent}"


def choices(subjects: Subjects) -> list[tuple[str, Any]]:
    """What may change, in groups."""
    groups: list[tuple[str, Any]] = [
        ("Recipes", [(name, words) for name, (words, _, _) in _SHARES.items()]),
        ("Price of a material", [(f"material:{code}", name) for code, name in subjects.materials]),
        ("Price of an offer", [(f"offer:{code}", name) for code, name in subjects.offers]),
        ("Rates", [(f"rate:{kind}", words) for kind, words in RATES.items()]),
    ]
    return [group for group in groups if group[1]]


def flat(groups: list[tuple[str, Any]]) -> list[tuple[str, str]]:
    """Choices without their groups."""
    return [choice for _, rows in groups for choice in rows]


def change_rows(data: Mapping[str, Any] | None, subjects: Subjects) -> list[ChangeForm]:
    """The rows that are written in an address, and one more to write in."""
    written = [row for row in range(MOST_CHANGES) if data and data.get(f"c{row}-of")]
    count = min(max(SHOWN_AT_FIRST, (max(written) if written else 0) + 2), MOST_CHANGES)
    return [ChangeForm(data, prefix=f"c{row}", subjects=subjects) for row in range(count)]


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
