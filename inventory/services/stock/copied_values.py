"""What was copied onto made lots before it followed from their parts, cleared once."""

from collections import defaultdict
from typing import Any

#: What pouring wrote onto what it made.
_COPIED = ("purity", "sv_mg_koh_g")


def forget_copied_values(lots: Any, history: Any, links: Any) -> int:
    """Clear strength and saponification value of lots that were made here, unless somebody entered
    another value since, and note what was missing of a lye as steam. How many lots changed.

    The three are the models of lots, of their history and of links, as they stand in a migration.
    All that was missing of a lye counts as water: that makes it as strong as it may be, which errs
    to less of it. Run twice, it changes nothing.
    """
    into: dict[int, int] = defaultdict(int)
    for link in links.objects.select_related("parent__material"):
        material = link.parent.material
        into[link.child_id] += (
            link.amount * (material.piece_mass or 0) if material.counted else link.amount
        )
    changed = []
    made = lots.objects.filter(pk__in=list(into), material__kind="intermediate")
    for lot in made.select_related("material"):
        first = history.objects.filter(id=lot.pk).order_by("history_id").first()
        copied = [
            name
            for name in _COPIED
            if first is not None
            and getattr(lot, name) is not None
            and getattr(lot, name) == getattr(first, name)
        ]
        missing = max(into[lot.pk] - lot.received_amount, 0) if lot.material.alkali else 0
        if copied or (missing and not lot.steam):
            for name in copied:
                setattr(lot, name, None)
            lot.steam = lot.steam or missing
            changed.append(lot)
    lots.objects.bulk_update(changed, [*_COPIED, "steam"])
    return len(changed)
