"""A pick list for paper: which bars to take from where, with boxes to tick."""

from pathlib import Path
from typing import Any

from costing.queries.orders.sales import PickList

TEMPLATE = Path(__file__).resolve().parent / "pick_list.typ"


def pick_values(found: PickList) -> dict[str, Any]:
    """What the paper shows, all as text. No prices: it lies open at the bench."""
    order = found.order
    return {
        "order": order.code,
        "customer": order.customer.name,
        "address": order.customer.address.splitlines(),
        "facts": [
            ["Ordered on", f"{order.ordered_on}"],
            ["Due on", f"{order.due_on}"],
            *([["Their reference", order.reference]] if order.reference else []),
        ],
        "picks": [
            {
                "product": pick.name,
                "lot": pick.lot,
                "location": pick.location or "-",
                "bars": f"{pick.bars}",
                "cartons": f"{pick.cartons}, up to {pick.per_carton} each" if pick.cartons else "",
                "boxes": pick.cartons,
            }
            for pick in found.picks
        ],
        "bars": f"{found.bars}",
        "cartons": f"{found.cartons}",
        "missing": f"{found.missing}" if found.missing else "",
        "note": order.note,
    }
