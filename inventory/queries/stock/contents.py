"""What lots consist of, read up through all that went into them: two statements at any depth."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from graphlib import TopologicalSorter
from typing import NamedTuple

from django.db import connection

from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.stock.contents import Contents, Part, measured, mix, of_leaf, react
from inventory.domain.stock.leaves import Leaf, leaf_of
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot

#: The links themselves are walked, so that each is read once. `UNION` ends whatever they say.
_LINKS = """
WITH RECURSIVE walked(id, child_id, parent_id, amount, stays) AS (
    SELECT id, child_id, parent_id, amount, stays FROM inventory_lotlink
    WHERE child_id IN ({marks})
    UNION
    SELECT link.id, link.child_id, link.parent_id, link.amount, link.stays
    FROM walked JOIN inventory_lotlink link ON link.child_id = walked.parent_id
)
SELECT child_id, parent_id, SUM(amount), stays FROM walked GROUP BY child_id, parent_id, stays
"""
_PACKAGING = MaterialKind.PACKAGING.value


class _Link(NamedTuple):
    child: int
    parent: int
    amount: int
    stays: bool


class _Worked(NamedTuple):
    """What lots consist of: with what was measured on each, and by its parts alone."""

    found: dict[int, Contents]
    by_parts: dict[int, Contents]


def contents_of(lot_ids: Iterable[int]) -> dict[int, Contents]:
    """What lots consist of, by their ids. Two statements: the links upward, and those lots.

    What was measured of a lot goes before what follows from its parts, on each level. Nothing is
    kept, so a certificate that is entered today counts at once in all that was made of its lot.
    """
    wanted = set(lot_ids)
    return _worked_out(wanted).found if wanted else {}


def contents_by_parts(lot_ids: Iterable[int]) -> dict[int, Contents]:
    """The same of lots that were made here, without what was measured on each of them itself.

    What was measured of their parts counts. Lots without parts are left out.
    """
    wanted = set(lot_ids)
    return _worked_out(wanted).by_parts if wanted else {}


def contents_of_lots(lots: Iterable[Lot], materials: Mapping[int, Material]) -> dict[int, Contents]:
    """The same of lots that are read already, with their materials by id.

    No statement where none of them was made here, else two.
    """
    read = {lot.pk: lot for lot in lots}
    made = {pk for pk, lot in read.items() if materials[lot.material_id].kind in MADE_HERE}
    found = _worked_out(made).found if made else {}
    for pk, lot in read.items():
        if pk not in made:
            material = materials[lot.material_id]
            found[pk] = of_leaf(leaf_of(material, lot.certificate, lot=lot.code))
    return found


def _links(lot_ids: Iterable[int]) -> list[_Link]:
    ids = sorted(lot_ids)
    with connection.cursor() as cursor:
        cursor.execute(_LINKS.format(marks=", ".join(["%s"] * len(ids))), ids)
        return [
            _Link(child, parent, int(amount), bool(stays))
            for child, parent, amount, stays in cursor.fetchall()
        ]


def _worked_out(wanted: set[int]) -> _Worked:
    links: dict[int, list[_Link]] = defaultdict(list)
    for link in _links(wanted):
        links[link.child].append(link)
    reached = wanted | {link.parent for some in links.values() for link in some}
    lots = Lot.objects.filter(pk__in=reached).select_related("material").in_bulk()
    order = TopologicalSorter({pk: [link.parent for link in links[pk]] for pk in lots})
    found: dict[int, Contents] = {}
    by_parts: dict[int, Contents] = {}
    masses: dict[int, int] = {}
    for pk in order.static_order():
        lot = lots[pk]
        if some := [link for link in links[pk] if _is_part(lots[link.parent])]:
            parts = [
                Part(
                    found[link.parent],
                    _mass(lots[link.parent], link.amount, masses),
                    link.stays,
                )
                for link in some
            ]
            masses[pk] = sum(int(part.mass) for part in parts if part.stays)
            by_parts[pk] = _mixed(lot, parts, masses[pk])
            found[pk] = _with_own(lot, by_parts[pk])
        else:
            found[pk] = of_leaf(_leaf(lot))
    return _Worked(
        {pk: found[pk] for pk in wanted if pk in found},
        {pk: by_parts[pk] for pk in wanted if pk in by_parts},
    )


def _is_part(lot: Lot) -> bool:
    kind: str = lot.material.kind
    return kind != _PACKAGING


def _mass(lot: Lot, amount: int, masses: Mapping[int, int]) -> int:
    """What an amount of a lot weighs, in ng; bars of which nobody said so, as poured."""
    weighs: int = lot.material.mass_of(amount)
    if not weighs and lot.received_amount:
        return masses.get(lot.pk, 0) * amount // lot.received_amount
    return weighs


def _mixed(lot: Lot, parts: list[Part], into: int) -> Contents:
    # What is counted has no mass of its own: all that went in is in its pieces.
    out = lot.material.mass_of(lot.received_amount) or into
    mixed = mix(parts, out=out, steam=lot.steam)
    return react(mixed) if lot.material.kind == MaterialKind.BATTER else mixed


def _with_own(lot: Lot, mixed: Contents) -> Contents:
    if lot.material.kind == MaterialKind.BATTER:
        return mixed
    return measured(mixed, lot.certificate, _leaf(lot))


def _leaf(lot: Lot) -> Leaf:
    return leaf_of(lot.material, lot.certificate, lot=lot.code)
