"""Packing: what a product's bars and their shipping cartons take, by the bar."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Pieces of a counted material (by id) for each bar, or for each shipping carton."""

    material: int
    pieces: int
    per_carton: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """What a packaging set takes from a day on."""

    bars_per_carton: int
    pieces: tuple[Piece, ...]

    def needs(self, bars: int, *, cartons: int | None = None) -> dict[int, int]:
        """Pieces for so many bars: material id -> pieces, whole cartons unless told how many."""
        count = -(-bars // self.bars_per_carton) if cartons is None else cartons
        return pieces_for(self.pieces, bars=bars, cartons=count)


def pieces_for(pieces: Iterable[Piece], *, bars: int, cartons: int) -> dict[int, int]:
    """What bars in so many cartons take of each material."""
    needs: dict[int, int] = {}
    for piece in pieces:
        count = piece.pieces * (cartons if piece.per_carton else bars)
        needs[piece.material] = needs.get(piece.material, 0) + count
    return needs
