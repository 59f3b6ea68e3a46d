"""The bench: a batch is weighed line by line, on a tablet, with wet gloves."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.domain.bench.cautions import IN_SHORT
from recipes.models.bench.batches import BatchState
from recipes.pages.bench.batch import STATES
from recipes.pages.bench.cautions import carried_from, cautions_answer, is_confirmed
from recipes.pages.bench.form import TYPED, WeighForm, bench_script
from recipes.pages.bench.shown_bench import ShownBench, ShownLine, judged, show_bench, written
from recipes.queries.bench.batches import line_at
from recipes.queries.scales.scales import scales_for
from recipes.services.bench.actuals import weigh_line
from recipes.services.bench.as_made import tolerance_of
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Capability, capabilities_of, may_decide
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from studio.web.pages.forms import faults_on, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import GET, page, who

_MASS = (Dimension.MASS, Dimension.VOLUME)


@page(Capability.READ, methods=GET)
def bench_page(request: HttpRequest, code: str) -> HttpResponse:
    """One line at a time (the next, or the one of `line`), or the list of all (`view=list`)."""
    bench = _bench(request, code)
    if bench.batch.state != BatchState.RESERVED:
        return _closed(request, bench)
    asked = _number(request.GET.get("line"))
    line = bench.at(asked) if asked is not None else None
    if line is None and request.GET.get("view") != "list":
        line = bench.next_after(None)
    if line is not None and line.is_locked and _may_weigh(request):
        return _before_lye(request, bench, line)
    typed = {name: request.GET[name][:64] for name in TYPED if name in request.GET}
    form = _form(code, line, initial=typed, is_list=request.GET.get("view") == "list")
    return _answer(request, bench, line, form)


@page(Capability.MAKE, once=True)
def weigh_page(request: HttpRequest, code: str) -> HttpResponse:
    """Keep a reading, and lead to the next line that is not weighed."""
    position = _number(request.POST.get("position"))
    if request.method != "POST":
        return see_other(request, "bench-page", code)
    bench = _bench(request, code)
    line = bench.at(position) if position is not None else None
    if line is None:
        raise NotFound(f"Batch {code} has no such line to weigh.", field="position")
    if line.is_locked:
        return _before_lye(request, bench, line, status=409)
    is_list = request.POST.get("view") == "list"
    form = WeighForm(request.POST, code=code, line=line, is_list=is_list)
    if form.is_valid():
        with faults_on(form, names=form.names()):
            weigh_line(code, form.reading(), by=who(request))
            _say(request, line, form.reading().amount)
            return see_other(request, "bench-page", code, query=_onward(request, bench, line))
    if bench.batch.state != BatchState.RESERVED:
        return _closed(request, bench, form, status=422)
    return _answer(request, bench, line, form, status=422)


@page(Capability.READ, methods=GET)
def reading_fragment(request: HttpRequest, code: str) -> HttpResponse:
    """What a reading that is being typed says: in both units, and where it is in the tolerance."""
    row = line_at(code, _number(request.GET.get("position")) or 0)
    said: dict[str, Any] = {}
    text = request.GET.get("amount", "").strip()
    counted = row.material.counted
    if text:
        try:
            quantity = parse_quantity(text, *((Dimension.COUNT,) if counted else _MASS))
            amount = stock_amount(quantity, counted=counted, density_g_ml=row.material.density_g_ml)
        except Refusal as refusal:
            said = {"trouble": refusal.faults[0].message}
        else:
            _, allowed = tolerance_of(row, scales_for(row.batch.version))
            units = _units(request)
            word = judged(row.planned, amount, allowed, counted=counted, units=units)
            said = {
                "judged": word,
                "verdict": word.partition(" ")[0],
                "read": written(amount, counted=counted, units=units),
            }
    return render(request, "recipes/bench/_read.html", said)


def _bench(request: HttpRequest, code: str) -> ShownBench:
    return show_bench(
        code,
        units=_units(request),
        confirmed=is_confirmed(request, code),
        for_owner=may_decide(who(request)),
    )


def _units(request: HttpRequest) -> str:
    return str(preferences_of(request.user).units)


def _may_weigh(request: HttpRequest) -> bool:
    return Capability.MAKE in capabilities_of(request.user)


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdecimal() and len(text) < 10 else None


def _form(code: str, line: ShownLine | None, **values: Any) -> WeighForm | None:
    return WeighForm(None, code=code, line=line, **values) if line is not None else None


def _onward(request: HttpRequest, bench: ShownBench, line: ShownLine) -> dict[str, str]:
    """Where work goes on; the list stays the list."""
    following = bench.next_after(line.position)
    query = {"view": "list"} if request.POST.get("view") == "list" else {}
    if following is not None and not query:
        query["line"] = str(following.position)
    return query


def _say(request: HttpRequest, line: ShownLine, amount: int) -> None:
    if not amount:
        messages.warning(request, f"{line.name} is left out.")
        return
    row, units = line.line.row, _units(request)
    word = judged(
        row.planned, amount, line.line.actual.tolerance, counted=line.counted, units=units
    )
    what, _ = written(amount, counted=line.counted, units=units)
    tell = messages.success if word == "inside" else messages.warning
    tell(request, f"{line.name}: {what}, {word}.")


def _before_lye(
    request: HttpRequest, bench: ShownBench, line: ShownLine, *, status: int = 200
) -> HttpResponse:
    carried = carried_from(request.POST or request.GET) | {"line": str(line.position)}
    return cautions_answer(request, bench.batch, carried=carried, name=line.name, status=status)


def _closed(
    request: HttpRequest, bench: ShownBench, form: WeighForm | None = None, *, status: int = 200
) -> HttpResponse:
    """Before the reservation nothing can be weighed; after the pour it is only looked at."""
    context = {
        "bench": bench,
        "form": form,
        "script": bench_script(bench.batch.code, who(request).pk),
        "state": STATES[BatchState(bench.batch.state)],
        "is_planned": bench.batch.state == BatchState.PLANNED,
    }
    return render(request, "recipes/bench/closed.html", context, status=status)


def _answer(
    request: HttpRequest,
    bench: ShownBench,
    line: ShownLine | None,
    form: WeighForm | None,
    *,
    status: int = 200,
) -> HttpResponse:
    code = bench.batch.code
    view = (request.POST or request.GET).get("view", "")
    is_list = view == "list"
    following = bench.next_after(None)
    context: dict[str, Any] = {
        "bench": bench,
        "line": line,
        "form": form,
        "is_list": is_list,
        "following": following,
        "in_short": IN_SHORT,
        "script": bench_script(code, who(request).pk, bench.lines),
    }
    if is_list:
        at = line.position if line is not None else None
        context["rows"] = [
            (each, form if each.position == at else _form(code, each, is_list=True))
            for each in bench.lines
        ]
    return render(request, "recipes/bench/bench.html", context, status=status)
