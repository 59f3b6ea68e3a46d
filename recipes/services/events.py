"""What batches tell those above them. Receivers run in the same transaction as the step.

Costing listens here and puts labor and overhead on the lot that was made; recipes do not know it.
"""

from django.dispatch import Signal

#: A batch is done: its bars were released, or its blend is mixed (a blend has no cure).
#: Arguments: batch (a `Batch`, its `bar_lot` being what was made), by (user).
batch_cured = Signal()

#: A batch was planned. Arguments: batch (a `Batch`, with its lines stored), plan
#: (recipes.services.scaling.planning.Plan), by (user).
batch_planned = Signal()
