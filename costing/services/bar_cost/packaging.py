"""Packaging sets, and their editions: what a set takes from a day on, given whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction

from costing.errors import StandardRefusal, StandardTaken
from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.services.rows import keep_row, row_to_change
from inventory.queries.catalog.materials import materials_by_code
from recipes.domain.weighing import MOST_BARS
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound
from studio.models import Unchanged
from studio.work.cleaning import take_clashes, take_field_faults

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

MOST_PIECES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDescription:
    """A packaging set by its code and name."""

    code: str
    name: str
    active: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceDescription:
    """Pieces of a counted material (by code), `per` "bar" or "carton"."""

    material: str
    per: str
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EditionDescription:
    """What a set takes from a day on, whole: pieces that are not named are not taken any more."""

    effective_from: date
    bars_per_carton: int
    pieces: Sequence[PieceDescription]


@transaction.atomic
def save_set(
    described: SetDescription,
    *,
    row_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> PackagingSet:
    """Keep a packaging set: a new one, or in place of what `row_id` was.

    Raises StandardRefusal with every fault, NotFound for an unknown id.
    """
    row = row_to_change(PackagingSet, row_id, unchanged)
    row.code, row.name, row.active = described.code, described.name, described.active
    faults = Faults()
    take_field_faults(faults, row, only=("code", "name"))
    if not faults:
        take_clashes(faults, row, only=("code",))
    faults.raise_if_any(StandardRefusal)
    return keep_row(row, by=by)


@transaction.atomic
def open_set(
    described: SetDescription,
    edition: EditionDescription,
    *,
    today: date,
    by: By = None,
) -> PackagingSet:
    """A new packaging set with what it takes. Raises as `save_set` and `put_edition`."""
    made = save_set(described, by=by)
    put_edition(made.code, edition, today=today)
    return made


@transaction.atomic
def put_edition(code: str, described: EditionDescription, *, today: date) -> PackagingEdition:
    """Keep what a set takes from a day on; one of the same day to come is replaced whole.

    An edition that has been in force stays as it was. Raises StandardRefusal with every fault,
    StandardTaken for the day of one that was in force before today, NotFound for an unknown set.
    """
    packaging_set = _set_by_code(code)
    materials = _checked(described)
    before = packaging_set.editions.filter(effective_from=described.effective_from).first()
    if before is not None and before.effective_from < today:
        raise StandardTaken(
            f"What {code} takes from {before.effective_from} has been in force; let another "
            "edition start on a later day.",
            field="effective_from",
        )
    if before is not None:
        before.delete()
    edition = PackagingEdition.objects.create(
        packaging_set=packaging_set,
        effective_from=described.effective_from,
        bars_per_carton=described.bars_per_carton,
    )
    PackagingPiece.objects.bulk_create(
        PackagingPiece(
            edition=edition,
            material=materials[piece.material],
            per=piece.per,
            pieces=piece.pieces,
        )
        for piece in described.pieces
    )
    return edition


def _set_by_code(code: str) -> PackagingSet:
    try:
        return PackagingSet.objects.select_for_update().get(code=code)
    except PackagingSet.DoesNotExist:
        raise NotFound(f"There is no packaging set {code}.", field="packaging_set") from None


def _checked(described: EditionDescription) -> "dict[str, Material]":
    """The materials of an edition that makes sense, by code."""
    faults = Faults()
    if not 1 <= described.bars_per_carton <= MOST_BARS:
        faults.add("out-of-range", f"From 1 to {MOST_BARS} bars.", "bars_per_carton")
    known = materials_by_code(piece.material for piece in described.pieces)
    seen: set[tuple[str, str]] = set()
    for index, piece in enumerate(described.pieces):
        at = f"pieces.{index}"
        material = known.get(piece.material)
        if material is None:
            faults.add("not-found", f"There is no material {piece.material}.", f"{at}.material")
        elif not material.counted:
            faults.add("not-counted", f"{material.name} is weighed, not counted.", f"{at}.material")
        if piece.per not in PackagingPiece.Per.values:
            faults.add("unknown-choice", "It is per bar or per carton.", f"{at}.per")
        if not 1 <= piece.pieces <= MOST_PIECES:
            faults.add("out-of-range", f"From 1 to {MOST_PIECES} pieces.", f"{at}.pieces")
        if (piece.material, piece.per) in seen:
            faults.add("twice", f"{piece.material} per {piece.per} is there twice.", at)
        seen.add((piece.material, piece.per))
    faults.raise_if_any(StandardRefusal)
    return known
