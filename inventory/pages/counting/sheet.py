"""The sheet of a count: one lot after the other, without saying what the books expect."""

from dataclasses import dataclass

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.domain.counting.session import SessionState
from inventory.models.counting.counts import CountLine, CountSession
from inventory.pages.counting.closing import ClosingRow
from inventory.queries.counting.sessions import (
    has_moved,
    line_of,
    lines_found,
    progress_of,
    session_by_code,
    variance_of,
)
from inventory.services.counting.sessions import FoundLot, enter_finds
from studio.foundation.errors import Refusal, StateConflict
from studio.foundation.roles import Capability, capabilities_of
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField
from studio.web.pages.forms import see_other
from studio.web.pages.lists import ListPage, list_page
from studio.web.pages.ruled import GET, page, who

STOCKED = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
REASON = 200


class SheetFilter(forms.Form):
    """What is looked for on the sheet."""

    q = forms.CharField(required=False, max_length=100, label="Lot, material or place")
    left = forms.BooleanField(required=False, label="Not counted yet")


class FindForm(forms.Form):
    """What was found of one lot."""

    found = QuantityFormField(dimensions=STOCKED)
    reason = forms.CharField(required=False, max_length=REASON, label="Why it may differ")

    def __init__(self, line: CountLine, data: object = None) -> None:
        super().__init__(
            data,  # type: ignore[arg-type]
            auto_id=f"{line.lot.code}-%s",
            initial={"reason": line.reason},
        )
        self.fields["found"].label = f"Found of {line.lot.code}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """A line as the sheet draws it; `form` is there for those who may count."""

    session: CountSession
    line: CountLine
    moved: bool
    form: FindForm | None
    density: str
    query: str

    @property
    def is_counted(self) -> bool:
        """Whether something was found, be it nothing."""
        return self.line.found is not None


@page(Capability.READ, methods=GET)
def count_page(request: HttpRequest, code: str) -> HttpResponse:
    """The sheet of an open count; what came of one that is closed."""
    session = session_by_code(code)
    if session.state != SessionState.OPEN.value:
        variance = variance_of(code)
        corrected = [ClosingRow(line) for line in variance.differing]
        context = {"session": session, "variance": variance, "corrected": corrected}
        return render(request, "inventory/counting/done.html", context)
    return _sheet(request, session)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def enter_find(request: HttpRequest, code: str, lot: str) -> HttpResponse:
    """Keep what was found of one lot: its row comes back, or the whole sheet without a script."""
    session = session_by_code(code)
    line = line_of(session, lot)
    form = FindForm(line, request.POST)
    if form.is_valid():
        find = FoundLot(lot=lot, **form.cleaned_data)
        try:
            enter_finds(code, [find], by=who(request))
        except StateConflict:
            # Somebody closed the count meanwhile: its page says so.
            return see_other(request, "count-page", code)
        except Refusal as refusal:
            _place(refusal, form)
        else:
            return _entered(request, session, lot)
    if getattr(request, "htmx", False):
        return _row_alone(request, session, line, form, status=422)
    return _sheet(request, session, refused=(line, form))


def _place(refusal: Refusal, form: FindForm) -> None:
    """Of one lot there is one row: only the last word of a fault's path tells its field."""
    for fault in refusal.faults:
        name = fault.field.rpartition(".")[2]
        form.add_error(name if name in form.fields else "found", fault.message)


def _entered(request: HttpRequest, session: CountSession, lot: str) -> HttpResponse:
    if getattr(request, "htmx", False):
        line = line_of(session, lot)
        return _row_alone(request, session, line, FindForm(line), status=200)
    answer = see_other(request, "count-page", session.code, query=request.GET.dict())
    answer["Location"] += f"#lot-{lot}"
    return answer


def _row_alone(
    request: HttpRequest, session: CountSession, line: CountLine, form: FindForm, *, status: int
) -> HttpResponse:
    row = _row(request, session, line, form)
    context = {"row": row, "session": session, "progress": progress_of(session), "alone": True}
    return render(request, "inventory/counting/_entered.html", context, status=status)


def _sheet(
    request: HttpRequest,
    session: CountSession,
    *,
    refused: tuple[CountLine, FindForm] | None = None,
) -> HttpResponse:
    filters = SheetFilter(request.GET or None)
    given = filters.cleaned_data if filters.is_valid() else {}
    found = lines_found(session, text=given.get("q", ""), only_left=given.get("left", False))
    rows = list_page(request, found, order=("position",), filters=filters)
    context = {
        "session": session,
        "rows": rows,
        "shown": _rows(request, session, rows, refused),
        "progress": progress_of(session),
    }
    status = 200 if refused is None else 422
    return render(request, "inventory/counting/sheet.html", context, status=status)


def _rows(
    request: HttpRequest,
    session: CountSession,
    rows: ListPage,
    refused: tuple[CountLine, FindForm] | None,
) -> list[SheetRow]:
    lines = list(rows.rows)
    if refused and refused[0] not in lines:
        # What was typed comes back also where the filter leaves its row out.
        lines.insert(0, refused[0])
    may = Capability.KEEP_STOCK in capabilities_of(request.user)
    shown = []
    for line in lines:
        form = refused[1] if refused and line == refused[0] else FindForm(line) if may else None
        shown.append(_row(request, session, line, form))
    return shown


def _row(
    request: HttpRequest, session: CountSession, line: CountLine, form: FindForm | None
) -> SheetRow:
    lot = line.lot
    density = lot.own_or_nominal("density_g_ml")
    return SheetRow(
        session=session,
        line=line,
        moved=has_moved(line),
        form=form,
        density="" if density is None else f"{density:f}",
        query=request.GET.urlencode(),
    )
