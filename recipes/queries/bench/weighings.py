"""What stands weighed for a batch before it is poured."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from recipes.models.bench.weighings import Weighing


def standing_weighings(batch_id: int) -> list[Weighing]:
    """The readings of a batch that were not set aside, each with its lot and line. One query."""
    return list(
        Weighing.objects.filter(line__batch=batch_id, set_aside_at__isnull=True)
        .select_related("lot", "line", "by")
        .order_by("id")
    )


def by_position(weighings: Iterable[Weighing]) -> Mapping[int, Sequence[Weighing]]:
    """The readings by the position of their line. No query."""
    found: dict[int, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        found[weighing.line.position].append(weighing)
    return dict(found)


def weighed_amounts(weighings: Iterable[Weighing]) -> dict[int, int]:
    """What each weighed line adds up to, in stock units, by position. No query."""
    return {
        position: sum(weighing.amount for weighing in some)
        for position, some in by_position(weighings).items()
    }
