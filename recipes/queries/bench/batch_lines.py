"""One line of a batch, for a question about it alone."""

from recipes.models.bench.batches import BatchLine
from studio.foundation.errors import NotFound


def line_at(code: str, position: int) -> BatchLine:
    """A line of a batch with its material and version. One query. Raises NotFound."""
    row = (
        BatchLine.objects.select_related("material", "batch__version")
        .filter(batch__code=code, position=position)
        .first()
    )
    if row is None:
        raise NotFound(f"Batch {code} has no line {position}.", field="position")
    return row
