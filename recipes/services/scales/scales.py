"""Scales are kept, so that each thing is weighed on the finest that holds it."""

from django.db import transaction

from recipes.models.scales.scales import Scale
from studio.foundation.doers import By
from studio.foundation.errors import InvalidInput
from studio.foundation.roles import Capability
from studio.work.exchange.described import described_table
from studio.work.keeping import Expected, Names, faults_of, keep, locked


@transaction.atomic
def save_scale(
    given: Scale, names: Names = None, *, by: By = None, expected: Expected = None
) -> Scale:
    """Keep a scale, a new one whole, of another the values named. Batches that are planned keep
    their weights.

    Raises InvalidInput with every fault, and ChangedMeanwhile; then nothing changes.
    """
    scale, _ = locked(given, names, expected)
    faults = faults_of(scale, names)
    if not faults and scale.capacity < scale.step:
        faults.add("holds-too-little", "It holds at least one step that it shows.", "capacity")
    faults.raise_if_any(InvalidInput)
    return keep(scale, names, by=by)


def add_scale(**values: object) -> Scale:
    """A new scale from its columns' values (ng). Raises InvalidInput with every fault."""
    return save_scale(Scale(**values))


SCALES = described_table(Scale, name="scales", needed=Capability.PLAN, save=save_scale)
