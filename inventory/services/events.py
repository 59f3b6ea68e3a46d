"""What the inventory tells those above it. Receivers run in the same transaction as the change.

Costing listens here and has prices looked at anew; the inventory does not know it.
"""

from dataclasses import dataclass

from django.dispatch import Signal

#: What it would cost to buy materials again has changed: by an offer, its supplier, a delivery,
#: opening stock, or the corrected day on which a lot came in.
#: Argument: materials (ids of the materials, a frozenset).
buying_cost_changed = Signal()

#: Something that lye and limits are judged by is known otherwise of lots, or of a material.
#: Argument: change (a `ValuesChanged`). Who made something of them judges it again.
values_changed = Signal()

#: An owner asks whether soap that is held as unsafe is safe again by what is known today.
#: Arguments: lot (locked), held (its open Hold). Who knows answers with the figures in words, or
#: raises LotHeld with them.
judging_again = Signal()


@dataclass(frozen=True, slots=True, kw_only=True)
class ValuesChanged:
    """What is known otherwise: the `subject` ("lot:L-00012", "material:naoh") with its name, and
    what changed, in words.

    `lots` (ids) are those of which something else is known now; of a material all its lots.
    `material` (its id) is set where a material changed, of which there may be no lot yet.
    """

    subject: str
    name: str
    words: str
    lots: frozenset[int]
    material: int | None = None
