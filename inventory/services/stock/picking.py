"""The one locked read behind reserving and consuming, and the words of what is short."""

from collections.abc import Iterable, Mapping
from datetime import date

from inventory.domain.stock.holds import of_batch
from inventory.errors import NotEnoughStock
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import Choices, Rebatch, candidates
from inventory.queries.stock.holds import unsafe_as_reserved
from inventory.queries.stock.on_order import coverage_dates
from studio.foundation.doers import By, doer
from studio.foundation.errors import Faults
from studio.foundation.roles import may_decide
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


#: How many lots of a material are looked at first; nearly always they cover the need.
NEAREST = 16


def lock_candidates(
    needs: Mapping[int, int],
    *,
    on: date,
    codes: Iterable[str] = (),
    ids: Iterable[int] = (),
    reach: int | None = None,
    oldest: bool = False,
) -> dict[int, Lot]:
    """`candidates`, locked in the order of their ids until the end of the transaction."""
    return candidates(needs, on=on, codes=codes, ids=ids, lock=True, reach=reach, oldest=oldest)


def codes_of(choices: Choices) -> list[str]:
    """The lot codes that a maker chose."""
    return [lot.code for some in choices.values() for lot in some]


def rebatch_for(
    holder: str,
    by: By,
    lots: Iterable[Lot] = (),
    *,
    reservation: int | None = None,
) -> Rebatch | None:
    """What a batch may choose of unsafe soap; None for a holder that is no batch.

    An owner may choose any of it, and anybody what of `lots` the batch's reservation (an id) took
    since it is unsafe: an owner chose that. Three queries where one of `lots` is blocked.
    """
    if not of_batch(holder):
        return None
    decided = unsafe_as_reserved(lots, reservation) if reservation is not None else frozenset()
    return Rebatch(by_owner=may_decide(by or doer()), decided=decided)
