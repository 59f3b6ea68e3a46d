"""A count makes nothing: of a lot made here no more is found than there can be."""

from collections.abc import Mapping

from inventory.domain.counting.made import Made
from inventory.errors import LedgerRefusal
from inventory.models.stock.lots import Lot
from inventory.queries.counting.made import made_here
from studio.foundation.errors import Faults
from studio.foundation.units.writing import format_amount

#: Code of the fault.
MORE_THAN_MADE = "more-than-made"


def refuse_more_than_made(found: Mapping[int, int], lots: Mapping[int, Lot]) -> None:
    """Refuse finds (lot id -> stock units) of locked lots that nobody can have made.

    What was bought may be more than its invoice says. One query where more is found than the books
    hold, else none. Raises LedgerRefusal with a fault for each lot.
    """
    more = [lot_id for lot_id, amount in found.items() if amount > lots[lot_id].on_hand]
    faults = Faults()
    for lot_id, made in sorted(made_here(more).items()) if more else ():
        if found[lot_id] > made.most:
            code = lots[lot_id].code
            faults.add(MORE_THAN_MADE, _told(lots[lot_id], made), "found", lot=code)
    faults.raise_if_any(LedgerRefusal)


def _told(lot: Lot, made: Made) -> str:
    unit = lot.material.stock_unit
    came_out, went_in, gone, most = (
        f"{format_amount(amount, unit)} {unit}"
        for amount in (made.made, made.went_in, made.gone, max(made.most, 0))
    )
    of = f" of {went_in} that went in" if made.went_in > made.made else ""
    return (
        f"Lot {lot.code} was made here: {came_out} came out{of}, and {gone} of it left since, so "
        f"there cannot be more of it than {most}. Count it again and look at its batch: what was "
        "made and not entered there comes in as opening stock, a lot of its own."
    )
