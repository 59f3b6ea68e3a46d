"""What the inventory tells those above it. Receivers run in the same transaction as the change.

Costing listens here and has prices looked at anew; the inventory does not know it.
"""

from django.dispatch import Signal

#: What it would cost to buy materials again has changed: by an offer, its supplier, or a delivery.
#: Argument: materials (ids of the materials, a frozenset).
buying_cost_changed = Signal()
