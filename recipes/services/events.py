"""What batches tell those above them. Receivers run in the same transaction as the step.

Costing listens here and puts labor and overhead on the lot of bars; recipes do not know it.
"""

from django.dispatch import Signal

#: A batch was cured and its bars released. Arguments: batch (recipes.models.Batch), by (user).
batch_cured = Signal()
