"""The count sheet for a spreadsheet: blind, with a place for what was found."""

from collections.abc import Sequence

from inventory.queries.counting.sessions import SheetLine
from studio.foundation.tables.saved import SavedTable

HEADS = ("no.", "lot", "material", "supplier's lot", "best before", "location", "count in", "found")


def count_table(code: str, lines: Sequence[SheetLine]) -> SavedTable:
    """A row for each lot to count."""
    return SavedTable(
        name=f"{code}-sheet",
        heads=HEADS,
        rows=(
            (
                str(line.position), line.lot, line.material_name, line.supplier_lot,
                line.best_before, line.location, "each" if line.counted else "g", "",
            )
            for line in lines
        ),
    )  # fmt: skip
