"""A plan exploded over its levels: what must be made first, and whether that can be."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.domain.stock.promises import Supply
from inventory.queries.stock.on_order import coverage_dates
from inventory.queries.stock.supplies import supplies
from recipes.domain.formulas.scaled import BatterTarget
from recipes.domain.levels.explosion import Explosion, Shelf, explode, making_order
from recipes.domain.weighing import check_weight
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.levels.explosion import Production, maker_of, production_below
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import Faults

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplodedPlan:
    """A plan for a day with all that stands below it.

    `plans` are those of the proposed batches by the material they make; `supply` is what there was
    of each material, and `bought_on` when more of it could be there.
    """

    plan: Plan
    on: date
    found: Explosion
    plans: Mapping[int, Plan]
    materials: Mapping[int, "Material"]
    supply: Mapping[int, Supply]
    bought_on: Mapping[int, date]


def explode_plan(plan: Plan, *, on: date, without: str = "") -> ExplodedPlan:
    """What a plan needs on a day over all levels, netted against what is free on each.

    `without` is the holder of a batch that is planned already: what it requires is the plan itself.
    Lots count when they are usable on that day. Batches for a day to come start today at the
    earliest; those for a day that is over, on any day. Raises ProductionCycle, and ScalingRefusal
    for a blend that cannot be made at the size it is needed in. Two queries a level and five more.
    """
    production = production_below(plan.materials.values())
    names = {pk: material.name for pk, material in production.materials.items()}
    refuse_cycle(plan.loaded.version.formula, plan.materials.values(), production)
    supply = supplies(production.materials, on=on, without=without)
    bought_on = coverage_dates(pk for pk in production.materials if pk not in production.makers)
    today = timezone.localdate()
    found = explode(
        plan.needs,
        on=on,
        makers={pk: maker_of(loaded) for pk, loaded in production.makers.items()},
        shelf=Shelf(supply=supply, bought_on=bought_on, since=today if on >= today else None),
        name=names.__getitem__,
    )
    plans = {
        proposal.need.material: make_plan(
            production.makers[proposal.need.material],
            Wish(target=BatterTarget(proposal.sized.target)),
        )
        for proposal in found.proposals
    }
    return ExplodedPlan(
        plan=plan,
        on=on,
        found=found,
        plans=plans,
        materials=production.materials,
        supply=supply,
        bought_on=bought_on,
    )


def refuse_cycle(formula: Formula, materials: Iterable["Material"], production: Production) -> None:
    """Refuse a formula that would need what it makes. `production` is what stands below.

    Raises ProductionCycle with the path. No query.
    """
    used = [material.pk for material in materials]
    names = {pk: material.name for pk, material in production.materials.items()}
    made = {formula.product_id: formula.product.name}
    if formula.batter is not None:
        made[formula.batter.pk] = formula.batter.name
    made_of = {**production.made_of, **dict.fromkeys(made, used)}
    making_order(made_of, made, name={**names, **made}.__getitem__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """A material below the batch or material that needs so much of it.

    `under` is the place of the node above in the tree, None below the batch at the top; `proposal`
    is the place of the batch that makes it. What stands below a material is shown once; `repeated`
    says that it was shown before.
    """

    material: int
    needed: int
    level: int
    under: int | None
    proposal: int | None
    repeated: bool


def tree_of(exploded: ExplodedPlan) -> list[Node]:
    """The tree from the top down, each node followed by what stands below it. No query."""
    proposals = exploded.found.proposals
    place = {proposal.need.material: index for index, proposal in enumerate(proposals)}
    nodes: list[Node] = []
    shown: set[int] = set()
    waiting: list[tuple[int, int, int, int | None]] = [
        (pk, need, 1, None) for pk, need in reversed(_named(exploded, exploded.plan.needs))
    ]
    while waiting:
        material, needed, level, under = waiting.pop()
        index = place.get(material)
        repeated = index is not None and material in shown
        nodes.append(
            Node(
                material=material,
                needed=needed,
                level=level,
                under=under,
                proposal=index,
                repeated=repeated,
            )
        )
        if index is not None and not repeated:
            shown.add(material)
            here = len(nodes) - 1
            below = _named(exploded, proposals[index].sized.needs)
            waiting += [(pk, need, level + 1, here) for pk, need in reversed(below)]
    return nodes


def _named(exploded: ExplodedPlan, needs: Mapping[int, int]) -> list[tuple[int, int]]:
    """Needs above zero in the order of their codes."""
    some = [(pk, need) for pk, need in needs.items() if need > 0]
    return sorted(some, key=lambda item: exploded.materials[item[0]].code)


def check_making(version: FormulaVersion, rows: Sequence[FormulaLine]) -> None:
    """Refuse a version that would need what it makes, or soap that is to be ready like a blend.

    Raises ProductionCycle with the path, FormulaRefusal. Two queries for each level below.
    """
    if version.ready_days and version.formula.kind == FormulaKind.SOAP:
        raise FormulaRefusal(
            "Soap cures; the days until it is ready are those of a blend.", field="ready_days"
        )
    alkalis = (version.naoh, version.koh, version.masterbatch, version.water)
    materials = [row.material for row in rows]
    materials += [material for material in alkalis if material is not None]
    refuse_cycle(version.formula, materials, production_below(materials))


def check_least_make(kind: str, least_make: int | None) -> None:
    """Refuse a least batch that is not a mass, or of soap. Raises FormulaRefusal."""
    if least_make is None:
        return
    if kind == FormulaKind.SOAP:
        raise FormulaRefusal("Only a blend has a least batch.", field="least_make")
    faults = Faults()
    check_weight(faults, least_make, "least_make", least=1)
    faults.raise_if_any(FormulaRefusal)
