"""The first day on which plans could be made, from one look at the shelf."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.queries.stock.on_order import coverage_dates
from inventory.queries.stock.supplies import supplies
from recipes.domain.levels.explosion import Maker, Shelf, explode
from recipes.queries.levels.explosion import maker_of, production_below

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstDays:
    """What there is on a day, what comes, and what can be made or bought, of some materials."""

    on: date
    makers: Mapping[int, Maker]
    shelf: Shelf
    names: Mapping[int, str]

    def first_day(self, needs: Mapping[int, int], of: Collection[int]) -> tuple[date | None, str]:
        """The first day on which the needs of the materials `of` could be whole, and which of them
        comes last. `needs` are all that is wanted of the shelf together.

        None when one of them never comes: it is named. Raises ProductionCycle, ScalingRefusal.
        No query.
        """
        found = explode(
            needs, on=self.on, makers=self.makers, shelf=self.shelf, name=self.names.__getitem__
        )
        last, waits_for = self.on, ""
        for material in of:
            need = found.needs.get(material)
            if need is None:
                continue
            if need.first_on is None:
                return None, self.names[material]
            if need.first_on > last:
                last, waits_for = need.first_on, self.names[material]
        return last, waits_for


def first_days(materials: Iterable["Material"], *, on: date) -> FirstDays:
    """One look at all that these materials are made of. Five queries, and two more a level."""
    production = production_below(materials)
    known = production.materials
    bought_on = coverage_dates(pk for pk in known if pk not in production.makers)
    return FirstDays(
        on=on,
        makers={pk: maker_of(loaded) for pk, loaded in production.makers.items()},
        shelf=Shelf(supply=supplies(known, on=on), bought_on=bought_on, since=on),
        names={pk: material.name for pk, material in known.items()},
    )
