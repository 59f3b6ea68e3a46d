"""What a delivery would cost to land, before anything of it is kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from inventory.domain.receiving.landed_cost import LandedLine, allocate
from inventory.services.receiving.lines import Known, ReadLine, read_line
from inventory.services.receiving.received import Received
from studio.foundation.errors import Fault, Faults, Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class LandedPreview:
    """The lines that can be read (None: not yet), their landed costs, and what is in the way.

    `landed` is empty until every line can be read and the charges can be spread.
    """

    lines: Sequence[ReadLine | None]
    landed: Sequence[LandedLine]
    faults: Sequence[Fault]

    @property
    def total(self) -> int:
        """The landed cost of all lines (ten-thousandths)."""
        return sum(line.cost for line in self.landed)


@transaction.atomic
def preview_delivery(received: Received) -> LandedPreview:
    """Read a delivery as `receive_delivery` would and spread its charges. Writes nothing.

    At most six queries for any number of lines.
    """
    faults = Faults()
    known = Known.for_delivery(received)
    lines = [
        read_line(faults, line, known=known, received=received, under=f"lines.{index}")
        for index, line in enumerate(received.lines)
    ]
    landed: Sequence[LandedLine] = ()
    ready = [line.cost_line for line in lines if line is not None]
    if ready and len(ready) == len(lines) and not faults:
        try:
            landed = allocate(ready, received.charges)
        except Refusal as refusal:
            faults.take(refusal, "charges")
    return LandedPreview(lines=lines, landed=landed, faults=tuple(faults.found))
