"""Count sessions: the blind sheet, and how what was found differs from the books."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q, QuerySet

from inventory.domain.counting.session import Find
from inventory.domain.stock.ledger import Balance
from inventory.models.counting.counts import CountLine, CountSession
from inventory.models.stock.lots import Lot
from studio.foundation.errors import NotFound
from studio.foundation.hints import Money, Stock


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One lot to count. What the books expect is not told: the count is blind."""

    position: int
    lot: str
    material: str
    material_name: str
    counted: bool
    supplier_lot: str
    best_before: date | None
    location: str
    counted_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceLine:
    """One counted lot; `value` is the cost that posting adds or takes (ten-thousandths).

    `expected` is what the books held when it was counted, `now` what they hold; once posted, both
    are what the count was posted against.
    """

    lot: str
    material: str
    material_name: str
    counted: bool
    found: Stock
    expected: Stock
    now: Stock
    difference: Stock
    has_moved: bool
    value: Money
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Variance:
    """A session's differences; lots without a find are only named, what is expected is not."""

    session: CountSession
    lines: tuple[VarianceLine, ...]
    not_counted: tuple[str, ...]

    @property
    def value(self) -> Money:
        """What all differences are worth, finds above zero and losses below."""
        return sum(line.value for line in self.lines)

    @property
    def moved(self) -> tuple[VarianceLine, ...]:
        """Lots that moved in the books since they were counted."""
        return tuple(line for line in self.lines if line.has_moved)

    @property
    def differing(self) -> tuple[VarianceLine, ...]:
        """Lots that were found otherwise than the books hold them, and did not move since."""
        return tuple(line for line in self.lines if line.difference and not line.has_moved)

    @property
    def as_expected(self) -> int:
        """How many lots were found as the books hold them."""
        return len(self.lines) - len(self.moved) - len(self.differing)

    @property
    def settled_value(self) -> int:
        """What the differences are worth of which it is known already how they are posted."""
        return sum(line.value for line in self.differing)


def sheet_of_session(code: str) -> list[SheetLine]:
    """What to count, in the order of the sheet. Two queries. Raises NotFound."""
    return [
        SheetLine(
            position=line.position,
            lot=line.lot.code,
            material=line.lot.material.code,
            material_name=line.lot.material.name,
            counted=line.lot.material.counted,
            supplier_lot=line.lot.supplier_lot,
            best_before=line.lot.best_before,
            location=line.lot.location.code if line.lot.location else "",
            counted_at=line.counted_at,
        )
        for line in _lines(session_by_code(code))
    ]


def variance_of(code: str) -> Variance:
    """How the finds differ from the books. Two queries. Raises NotFound."""
    session = session_by_code(code)
    lines = _lines(session)
    return Variance(
        session=session,
        lines=tuple(_variance(line) for line in lines if line.found is not None),
        not_counted=tuple(line.lot.code for line in lines if line.found is None),
    )


def session_by_code(code: str) -> CountSession:
    """A session by its code. One query. Raises NotFound."""
    try:
        return CountSession.objects.select_related("location", "by", "closed_by").get(code=code)
    except CountSession.DoesNotExist:
        raise NotFound(f"There is no count session {code}.", field="session") from None


def find_of(line: CountLine, lot: Lot) -> Find | None:
    """A line as the rules see it; None while it is not counted."""
    if line.found is None or line.expected is None:
        return None
    books = Balance(on_hand=lot.on_hand, reserved=lot.reserved, cost=lot.cost)
    return Find(found=line.found, expected=line.expected, books=books)


def _lines(session: CountSession) -> list[CountLine]:
    return list(
        session.lines.select_related("lot__material", "lot__location", "count").order_by("position")
    )


def _variance(line: CountLine) -> VarianceLine:
    find = find_of(line, line.lot)
    assert find is not None
    posted = line.count
    expected = posted.expected if posted else find.expected
    found = posted.found if posted else find.found
    return VarianceLine(
        lot=line.lot.code,
        material=line.lot.material.code,
        material_name=line.lot.material.name,
        counted=line.lot.material.counted,
        found=found,
        expected=expected,
        now=posted.expected if posted else find.books.on_hand,
        difference=found - expected,
        has_moved=not posted and find.has_moved,
        value=(line.value or 0) if posted else find.value(),
        reason=line.reason,
    )


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
