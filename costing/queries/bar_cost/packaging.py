"""What packaging sets take on a day."""

from collections.abc import Collection
from datetime import date

from costing.domain.bar_cost.packing import Packing, Piece
from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece


def packings_of_day(sets: Collection[int], *, on: date) -> dict[int, Packing]:
    """The edition in force of each packaging set, by the set's id; none before its first.

    Two queries, however many sets.
    """
    rows = PackagingEdition.objects.filter(
        packaging_set__in=list(sets), effective_from__lte=on
    ).order_by("effective_from")
    newest = {row.packaging_set_id: row for row in rows.prefetch_related("pieces")}
    return {
        pk: Packing(
            bars_per_carton=row.bars_per_carton,
            pieces=tuple(
                Piece(
                    material=piece.material_id,
                    pieces=piece.pieces,
                    per_carton=piece.per == PackagingPiece.Per.CARTON,
                )
                for piece in row.pieces.all()
            ),
        )
        for pk, row in newest.items()
    }
