"""What the inventory tells those above it. Receivers run in the same transaction as the change.

Costing listens here and has prices looked at anew; the inventory does not know it.
"""

from django.dispatch import Signal

#: What it would cost to buy materials again has changed: by an offer, its supplier, or a delivery.
#: Argument: materials (ids of the materials, a frozenset).
buying_cost_changed = Signal()

#: An owner asks whether soap that is held as unsafe is safe again by what is known today.
#: Arguments: lot (locked), held (its open Hold). Who knows answers with the figures in words, or
#: raises LotHeld with them.
judging_again = Signal()
