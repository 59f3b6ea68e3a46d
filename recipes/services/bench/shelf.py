"""The shelf check: does what is there cover a plan, and if not, what would."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.domain.stock.picking import Pick
from inventory.queries.stock.candidates import candidates, plan_picks
from inventory.queries.stock.on_hand import available_by_material
from inventory.queries.stock.on_order import coverage_dates

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLine:
    """One material of a plan: stock units needed, available and short, and the lots to take.

    `covered_on` is the earliest day on which a placed order or a current offer would cover what is
    short; None when nothing is short or nobody offers it.
    """

    material: "Material"
    needed: int
    available: int
    picks: tuple[Pick, ...]
    covered_on: date | None

    @property
    def short(self) -> int:
        """What is missing, in stock units."""
        return max(self.needed - self.available, 0)


def check_shelf(
    needs: Mapping[int, int], materials: Mapping[int, "Material"], *, on: date
) -> list[ShelfLine]:
    """Whether released, unexpired and unreserved stock covers `needs`. At most four queries."""
    available = available_by_material(needs, on=on)
    wanted = {pk: need for pk, need in needs.items() if need > 0}
    plan = plan_picks(wanted, candidates(wanted, on=on), {}, on=on)
    short = {pk for pk, need in wanted.items() if available.get(pk, 0) < need}
    dates = coverage_dates(short) if short else {}
    return [
        ShelfLine(
            material=materials[pk],
            needed=need,
            available=available.get(pk, 0),
            picks=tuple(plan.picks.get(pk, ())),
            covered_on=dates.get(pk) if pk in short else None,
        )
        for pk, need in sorted(needs.items(), key=lambda item: materials[item[0]].code)
    ]
