"""Counts as pages show them: sessions with how far they are, and the lines of a sheet."""

from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from inventory.models.counting.sessions import CountLine, CountSession
from inventory.queries.counting.sessions import find_of
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a count is."""

    counted: int
    total: int

    @property
    def left(self) -> int:
        """Lots that are not counted yet."""
        return self.total - self.counted


def sessions_found(*, text: str = "", state: str = "") -> QuerySet[CountSession]:
    """Sessions with `total` and `counted` lots, by code, place or note, in a state if given."""
    found = CountSession.objects.select_related("location", "by").annotate(
        total=Count("lines"), counted=Count("lines__found")
    )
    if state:
        found = found.filter(state=state)
    if text:
        found = found.filter(
            Q(code__icontains=text) | Q(note__icontains=text) | Q(location__name__icontains=text)
        )
    return found


def lines_found(
    session: CountSession, *, text: str = "", only_left: bool = False
) -> QuerySet[CountLine]:
    """The lines of a sheet by lot, material or place; only those not counted yet if asked."""
    found = session.lines.select_related("lot__material", "lot__location", "counted_by")
    if only_left:
        found = found.filter(found__isnull=True)
    if text:
        found = found.filter(
            Q(lot__code__icontains=text)
            | Q(lot__supplier_lot__icontains=text)
            | Q(lot__material__name__icontains=text)
            | Q(lot__material__code__icontains=text)
            | Q(lot__location__name__icontains=text)
        )
    return found


def line_of(session: CountSession, lot: str) -> CountLine:
    """The line of a lot. One query. Raises NotFound."""
    line = lines_found(session).filter(lot__code=lot).first()
    if line is None:
        raise NotFound(f"Lot {lot} is not on the sheet of {session.code}.", field="lot")
    return line


def progress_of(session: CountSession) -> Progress:
    """How many lots there are on a sheet, and how many are counted. One query."""
    told = session.lines.aggregate(total=Count("pk"), counted=Count("found"))
    return Progress(counted=told["counted"], total=told["total"])


def has_moved(line: CountLine) -> bool:
    """Whether the books of a line's lot changed since it was counted."""
    find = find_of(line, line.lot)
    return find is not None and find.has_moved
