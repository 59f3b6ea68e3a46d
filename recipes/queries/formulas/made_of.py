"""What materials that are made here consist of by their recipes, while no lot of them is known."""

from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from inventory.domain.catalog.certificate import NOT_CERTIFIED
from inventory.domain.stock.contents import Contents, Part, measured, mix, of_leaf
from inventory.domain.stock.leaves import leaf_of
from recipes.models.formulas.formulas import FormulaLine
from recipes.queries.formulas.current import is_made_here, makers_with_rows

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


def contents_of_materials(materials: Iterable["Material | None"]) -> dict[int, Contents]:
    """By material id, what each of them consists of that a recipe makes, as that recipe stands.

    All others are left out: their own values hold. Two queries a level, none where nothing among
    them is made here. What would need itself has its own values.
    """
    known = {material.pk: material for material in materials if material is not None}
    wanted = set(known)
    rows: dict[int, list[FormulaLine]] = {}
    looked: set[int] = set()
    while level := [pk for pk, m in known.items() if is_made_here(m) and pk not in looked]:
        looked.update(level)
        for pk, (_, lines) in makers_with_rows(level).items():
            rows[pk] = lines
            known.update({row.material_id: row.material for row in lines})
    found = _worked_out(known, rows)
    return {pk: contents for pk, contents in found.items() if pk in wanted}


def _worked_out(
    known: Mapping[int, "Material"], rows: Mapping[int, list[FormulaLine]]
) -> dict[int, Contents]:
    order = TopologicalSorter({pk: [r.material_id for r in lines] for pk, lines in rows.items()})
    try:
        inside_out = list(order.static_order())
    except CycleError:
        return {}
    found: dict[int, Contents] = {}
    for pk in inside_out:
        if pk in rows:
            parts = [
                Part(
                    found.get(row.material_id) or of_leaf(leaf_of(known[row.material_id])),
                    row.amount,
                    not row.strained,
                )
                for row in rows[pk]
            ]
            out = sum(part.mass for part in parts if part.stays)
            found[pk] = measured(mix(parts, out=out), NOT_CERTIFIED, leaf_of(known[pk]))
    return found
