"""Books of before, in which an effort without a rate counted as zero: it is not known."""

import re
from typing import Any

from costing.domain.bar_cost.conversion import MISSED

#: How such a conversion said so, with the kinds of rates that were missing.
_SAID = re.compile(
    r"No rate was in force on [0-9-]+ for: (?P<kinds>[^.]*)\. It counts as zero\.\n?"
)


def tell_unknown(*, conversions: Any, efforts: Any) -> int:
    """Empty the rate and cost of efforts that a conversion's note says had none; how many.

    Takes the managers of `Conversion` and `ConversionEffort` as a migration has them. Running it
    again changes nothing.
    """
    changed = 0
    for row in conversions.filter(note__contains="It counts as zero."):
        said = _SAID.search(row.note)
        if said is None:
            continue
        kinds = {name.strip().replace(" ", "_") for name in said["kinds"].split(",")}
        missed = [effort.value for effort, kind in MISSED.items() if kind.value in kinds]
        zero = efforts.filter(conversion_id=row.pk, effort__in=missed, rate=0, cost=0)
        changed += zero.update(rate=None, cost=None)
        row.note = _SAID.sub("", row.note).strip()
        row.save(update_fields=["note"])
    return changed
