"""What the inventory tells those above it. Receivers run in the same transaction as the change.

Costing listens here and has prices looked at anew; the inventory does not know it.
"""

from django.dispatch import Signal

#: What it would cost to buy materials again has changed: by an offer, its supplier, or a delivery.
#: Argument: materials (ids of the materials, a frozenset).
buying_cost_changed = Signal()

#: Somebody lifts a hold of a lot: releases it, or puts what was blocked in quarantine. Arguments:
#: lot (locked, as it was), to (the LotStatus wanted). Who knows of a cause that holds it still
#: raises LotHeld with the way out.
hold_lifting = Signal()
