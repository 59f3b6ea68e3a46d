"""Molds are saved only when their shape, fill and cut are possible."""

from collections.abc import Mapping
from copy import copy

from django.db import transaction

from recipes.domain.weighing import MOST_BARS
from recipes.models.molds.molds import Mold, MoldShape
from recipes.queries.molds.molds import cut_of
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.roles import Capability
from studio.work.exchange.described import described_table
from studio.work.keeping import Expected, Names, faults_of, keep, locked

#: What a shape is measured by; other sizes of it must be left empty.
SIZES: Mapping[MoldShape, tuple[str, ...]] = {
    MoldShape.RECTANGULAR: ("length", "width", "depth"),
    MoldShape.TAPERED: ("length", "width", "depth", "top_length", "top_width"),
    MoldShape.CYLINDER: ("diameter", "depth"),
    MoldShape.LYING_CYLINDER: ("diameter", "length"),
    MoldShape.SLAB: ("length", "width", "depth"),
    MoldShape.MEASURED: ("measured_volume",),
}
#: Sizes that a shape may have besides.
ALSO: Mapping[MoldShape, tuple[str, ...]] = {
    MoldShape.SLAB: ("divider",),
    MoldShape.MEASURED: ("depth",),
}
ALL_SIZES = tuple(dict.fromkeys(name for names in SIZES.values() for name in names))
_COUNTS = ("cavities", "rows", "columns", "layers")

#: The geometry's names for what a mold's row calls otherwise.
_ROW_NAMES = {
    "bottom_length_nm": "length",
    "bottom_width_nm": "width",
    "height_nm": "depth",
    "volume_nl": "measured_volume",
    "count": "cavities",
    "cut": "trim",
}


@transaction.atomic
def save_mold(
    given: Mold, names: Names = None, *, by: By = None, expected: Expected = None
) -> Mold:
    """Keep a mold that can be filled and cut, a new one whole, of another the values named.

    Raises InvalidInput with every fault, and ChangedMeanwhile; then nothing changes.
    """
    mold, _ = locked(given, names, expected)
    check_mold(mold, faults_of(mold, names))
    return keep(mold, names, by=by)


def add_mold(**values: object) -> Mold:
    """A new mold from its columns' values (nm, nL). Raises InvalidInput with every fault."""
    return save_mold(Mold(**values))


def check_mold(mold: Mold, faults: Faults | None = None) -> None:
    """Refuse a mold whose sizes, fill or cut are impossible, with every fault, besides those known.

    No queries.
    """
    faults = Faults() if faults is None else faults
    _check_sizes(mold, faults)
    _check_counts(mold, faults)
    if not 0 <= mold.overfill_share < 1:
        faults.add("outside-range", "From 0 % to below 100 %.", "overfill_share")
    if not faults:
        _check_shape(mold, faults)
    faults.raise_if_any(InvalidInput)


def _check_sizes(mold: Mold, faults: Faults) -> None:
    shape = MoldShape(mold.shape)
    possible = SIZES[shape] + ALSO.get(shape, ())
    for name in SIZES[shape]:
        if getattr(mold, name) is None:
            faults.add("size-missing", f"A {shape} mold needs this.", name)
    for name in (*ALL_SIZES, "divider"):
        size = getattr(mold, name)
        if size and name not in possible:
            faults.add("size-not-used", f"A {shape} mold is not measured by this.", name)
        elif size is not None and (size < 0 or (size == 0 and name != "divider")):
            faults.add("not-positive", "It must be above zero.", name)
    if mold.trim < 0:
        faults.add("below-zero", "A trim cannot be below zero.", "trim")


def _check_counts(mold: Mold, faults: Faults) -> None:
    made, known = 1, {fault.field for fault in faults.found}
    for name in _COUNTS:
        count = getattr(mold, name)
        made *= max(count, 1)
        if count < 1 and name not in known:
            faults.add("not-positive", "At least one is needed.", name)
    if made > MOST_BARS:
        faults.add("too-many-bars", f"One mold makes at most {MOST_BARS} bars.", "rows")


def _check_shape(mold: Mold, faults: Faults) -> None:
    """The geometry's own faults; those of the cut also when the fill height hides them."""
    level = copy(mold)
    level.fill_height = None
    for tried in (mold, level):
        try:
            cut_of(tried)
        except InvalidInput as refusal:
            known = {(fault.code, fault.field) for fault in faults.found}
            for fault in refusal.faults:
                name = _row_name(fault.field, mold)
                if (fault.code, name) not in known:
                    faults.add(fault.code, fault.message, name)


def _row_name(field: str, mold: Mold) -> str:
    name = field.removeprefix("cut.")
    if name == "volume_nl" and mold.shape != MoldShape.MEASURED:
        return "shape"
    return _ROW_NAMES.get(name) or name.removesuffix("_nm")


MOLDS = described_table(Mold, name="molds", needed=Capability.PLAN, save=save_mold)
