"""How materials are made here, level below level, and the first day on which plans could be."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.queries.stock.on_order import coverage_dates
from inventory.queries.stock.supplies import supplies
from recipes.domain.levels.explosion import BlendMaker, Maker, Shelf, explode
from recipes.queries.formulas.current import is_made_here, makers_with_rows
from recipes.queries.formulas.formulas import LoadedFormula, loaded_from
from recipes.queries.scales.scales import KeptScales, kept_scales

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True)
class Production:
    """What is made of what, below some materials: `makers` and `materials` by material id."""

    makers: Mapping[int, LoadedFormula]
    materials: Mapping[int, "Material"]

    @property
    def made_of(self) -> dict[int, list[int]]:
        """The materials that each made material is made of, by their ids."""
        return {
            material: [row.material_id for row in maker.rows]
            for material, maker in self.makers.items()
        }


def production_below(materials: Iterable["Material"]) -> Production:
    """The blends that make these materials, and those that make what they use, down to the end.

    Two queries a level, however many materials stand on it, and one; none where nothing is made
    here.
    """
    kept: KeptScales | None = None
    known = {material.pk: material for material in materials}
    makers: dict[int, LoadedFormula] = {}
    looked: set[int] = set()
    while level := [pk for pk, m in known.items() if is_made_here(m) and pk not in looked]:
        looked.update(level)
        kept = kept_scales() if kept is None else kept
        found = makers_of(level, scales=kept)
        makers.update(found)
        for maker in found.values():
            known.update({row.material_id: row.material for row in maker.rows})
    return Production(makers, known)


def makers_of(
    materials: Iterable[int], *, scales: KeptScales | None = None
) -> dict[int, LoadedFormula]:
    """The current version of the active blend that makes each material, by its id. Three queries,
    two for scales that are read already.

    Of several blends that make the same, the first by code.
    """
    found = makers_with_rows(materials)
    kept = kept_scales() if scales is None else scales
    return {pk: loaded_from(version, rows, scales=kept) for pk, (version, rows) in found.items()}


def maker_of(loaded: LoadedFormula) -> BlendMaker:
    """A blend as the explosion sees it, with the sizes it can be made in. No query."""
    version = loaded.version
    return BlendMaker(
        name=version.formula.product.name,
        lines=loaded.blend,
        materials=[row.material_id for row in loaded.rows],
        resolution=loaded.scales,
        loss_share=version.pot_loss_share,
        least_make=version.formula.least_make or 0,
        ready_days=version.ready_days,
        makes=version.formula.product.alkali,
    )


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
