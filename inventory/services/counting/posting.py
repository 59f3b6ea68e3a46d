"""A count session is posted: every difference goes through the ledger at once, or none does."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.counting.session import Moved, SessionState
from inventory.domain.stock.ledger import Change, counting
from inventory.errors import LedgerRefusal, SessionNotReady
from inventory.models.counting.counts import CountLine, CountSession, StockCount
from inventory.models.stock.lots import Lot
from inventory.queries.counting.sessions import find_of
from inventory.services.counting.made import refuse_more_than_made
from inventory.services.counting.sessions import close, lock_session
from inventory.services.stock.ledger import Origin, post
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.units.writing import format_amount

if TYPE_CHECKING:
    import uuid


@dataclass(frozen=True, slots=True, kw_only=True)
class Posting:
    """How to post: what is known of lots that moved since they were counted, by code.

    `leave_uncounted` says that lots without a find are to stay as they are.
    """

    moved: Mapping[str, Moved] = field(default_factory=dict)
    leave_uncounted: bool = False


@dataclass(frozen=True, slots=True)
class _Settled:
    """A counted line, what its lot is brought to, and the entry for it, if any."""

    line: CountLine
    expected: int
    found: int
    change: Change | None


@transaction.atomic
def post_session(code: str, posting: Posting | None = None, *, by: By = None) -> CountSession:
    """Bring the books of all counted lots to what was found, each with its own reason.

    Raises SessionNotReady with every lot that was not counted, or that moved since it was counted
    and of which it is not said when; LedgerRefusal where less was found than is reserved
    or more than was made here; SessionClosed, InvalidInput. Then nothing changes.
    """
    how = posting or Posting()
    session = lock_session(code)
    lines = list(session.lines.order_by("position"))
    lots = _lock_with_material([line.lot_id for line in lines])
    _check_ready(lines, lots, how)
    settled = [
        _settle(line, lots[line.lot_id], how.moved.get(lots[line.lot_id].code))
        for line in lines
        if line.found is not None
    ]
    _check_reserved(settled, lots)
    refuse_more_than_made({one.line.lot_id: one.found for one in settled}, lots)
    postings = _post_by_reason(session, settled, lots, by)
    _record(session, settled, postings, by)
    close(session, SessionState.POSTED, by=by)
    return session


def _lock_with_material(ids: Sequence[int]) -> dict[int, Lot]:
    rows = Lot.objects.select_for_update(of=("self",)).select_related("material")
    return {lot.pk: lot for lot in rows.filter(pk__in=ids).order_by("pk")}


def _check_ready(lines: Sequence[CountLine], lots: Mapping[int, Lot], how: Posting) -> None:
    on_sheet = {lots[line.lot_id].code for line in lines}
    if strange := sorted(set(how.moved) - on_sheet):
        raise InvalidInput(f"Lot {strange[0]} is not on the sheet.", field=f"moved.{strange[0]}")
    faults = Faults()
    for line in lines:
        lot = lots[line.lot_id]
        find = find_of(line, lot)
        if find is None:
            if not how.leave_uncounted:
                faults.add("not-counted", f"Lot {lot.code} is not counted yet.", lot=lot.code)
        elif find.has_moved and lot.code not in how.moved:
            faults.add(
                "moved-since",
                f"Lot {lot.code} moved in the books since it was counted: say whether it really "
                "moved before or after the count, or count it again.",
                f"moved.{lot.code}",
                lot=lot.code,
            )
    if not faults and all(line.found is None for line in lines):
        faults.add("nothing-counted", "Nothing was counted yet.")
    faults.raise_if_any(SessionNotReady)


def _settle(line: CountLine, lot: Lot, moved: Moved | None) -> _Settled:
    find = find_of(line, lot)
    assert find is not None
    found = find.to_post(moved if find.has_moved else None)
    change = counting(find.books, found) if found >= 0 else None
    return _Settled(line, find.books.on_hand, found, change)


def _check_reserved(settled: Sequence[_Settled], lots: Mapping[int, Lot]) -> None:
    faults = Faults()
    for one in settled:
        lot = lots[one.line.lot_id]
        if one.found < lot.reserved:
            unit = lot.material.stock_unit
            faults.add(
                LedgerRefusal.code,
                f"Lot {lot.code} would hold {format_amount(one.found, unit)} {unit}, less than "
                f"the {format_amount(lot.reserved, unit)} {unit} reserved; release the "
                "reservation first, or count it again.",
                "found",
                lot=lot.code,
            )
    faults.raise_if_any(LedgerRefusal)


def _post_by_reason(
    session: CountSession,
    settled: Sequence[_Settled],
    lots: Mapping[int, Lot],
    by: By,
) -> dict[int, "uuid.UUID"]:
    """One posting for each reason, so that each entry carries its own; line id -> posting."""
    by_reason: dict[str, list[_Settled]] = defaultdict(list)
    for one in settled:
        if one.change is not None:
            by_reason[one.line.reason or session.note].append(one)
    postings: dict[int, uuid.UUID] = {}
    for reason, some in by_reason.items():
        posting = post(
            [(one.line.lot_id, one.change) for one in some if one.change is not None],
            lots=lots,
            origin=Origin(
                reference=session.document,
                by=by,
                note=reason,
                on=session.counted_on,
                day_field="counted_on",
            ),
        )
        postings |= dict.fromkeys((one.line.pk for one in some), posting)
    return postings


def _record(
    session: CountSession,
    settled: Sequence[_Settled],
    postings: Mapping[int, "uuid.UUID"],
    by: By,
) -> None:
    counts = [
        StockCount(
            lot_id=one.line.lot_id,
            counted_on=session.counted_on,
            expected=one.expected,
            found=one.found,
            reason=one.line.reason or session.note,
            by=by,
        )
        for one in settled
    ]
    for count, one in zip(counts, settled, strict=True):
        count.posting = postings.get(one.line.pk, count.posting)
    StockCount.objects.bulk_create(counts)
    for count, one in zip(counts, settled, strict=True):
        one.line.count = count
        one.line.value = one.change.cost if one.change is not None else 0
    CountLine.objects.bulk_update([one.line for one in settled], ["count", "value"])
