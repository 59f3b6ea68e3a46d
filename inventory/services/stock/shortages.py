"""The words of a shortage: which materials, how much, and when they could be there."""

from collections.abc import Mapping

from inventory.errors import NotEnoughStock
from inventory.models.catalog.materials import Material
from inventory.queries.stock.on_order import coverage_dates
from studio.foundation.errors import Faults
from studio.foundation.units.writing import format_amount


def shortage_refusal(short: Mapping[int, tuple[int, int]]) -> NotEnoughStock:
    """The refusal for these materials (id -> needed, available), each with its own fault.

    Each fault's details hold needed, available and short in the material's unit, and the earliest
    day on which a placed order or a current offer could cover it.
    """
    dates = coverage_dates(short)
    faults = Faults()
    for material in Material.objects.filter(pk__in=short).order_by("code"):
        needed, available = short[material.pk]
        unit = material.stock_unit
        words = {
            "needed": format_amount(needed, unit),
            "available": format_amount(available, unit),
            "short": format_amount(needed - available, unit),
        }
        covered = dates.get(material.pk)
        faults.add(
            NotEnoughStock.code,
            f"{material.name}: {words['needed']} {unit} needed, {words['available']} {unit} "
            f"available, {words['short']} {unit} short; "
            + (f"covered from {covered} at the earliest." if covered else "no offer covers it."),
            f"materials.{material.code}",
            material=material.code,
            unit=unit,
            covered_on=covered.isoformat() if covered else None,
            **words,
        )
    return NotEnoughStock(faults=faults.found)
