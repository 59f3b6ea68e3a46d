"""What went into a batch as its label sees it: as weighed, with the lots' certificates."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.queries.stock.certificates import LotCertificate, certificates_of
from inventory.queries.stock.documents import Take, held_for, takes_for
from recipes.domain.formulas.formula import BATTER_STAGES, Basis
from recipes.domain.labels.allergens import FragranceTake
from recipes.domain.labels.ingredient_list import Ingoing, Role
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.needs import batch_rows

Part = BatchLine.Part
_BATTER = frozenset(stage.value for stage in BATTER_STAGES)
_BY_KIND = {Kind.FRAGRANCE.value: Role.FRAGRANCE, Kind.COLORANT.value: Role.COLORANT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """The soap of one bar lot, without its packaging. Masses in ng.

    `batter_ng` is what was poured; toppings lie beside it in `ingoing`. `unnamed` are materials
    without an INCI name.
    """

    ingoing: tuple[Ingoing, ...]
    fragrances: tuple[FragranceTake, ...]
    batter_ng: int
    unnamed: tuple[str, ...]


def contents_of(batch: Batch) -> Contents:
    """What a batch is made of: taken from lots, else held, else planned. Three queries."""
    rows = [row for row in batch_rows(batch) if not row.is_packing]
    values = _values(_takes(batch))
    ingoing = tuple(_ingoing(row, values) for row in rows if _mass(row))
    named = {row.material.name for row in rows if not row.material.inci_name.strip()}
    return Contents(
        ingoing=ingoing,
        fragrances=tuple(_fragrances(rows, values)),
        batter_ng=sum(_mass(row) for row in rows if row.stage in _BATTER),
        unnamed=tuple(sorted(named - {row.material.name for row in rows if _is_worded(row)})),
    )


@dataclass(slots=True)
class _Values:
    """Takes and certificates by material."""

    takes: dict[int, list[Take]] = field(default_factory=lambda: defaultdict(list))
    certificates: Mapping[int, LotCertificate] = field(default_factory=dict)

    def mean(self, material_id: int, name: str, nominal: Decimal | None) -> Decimal | None:
        """Mean by mass of a value over what was taken; a lot's own goes before the nominal one."""
        total, amount = Decimal(0), 0
        for take in self.takes.get(material_id, ()):
            own = getattr(self.certificates[take.lot_id], name)
            value = nominal if own is None else own
            if value is None:
                return None
            total += take.amount * value
            amount += take.amount
        return total / amount if amount else nominal


def _takes(batch: Batch) -> list[Take]:
    if batch.poured_on is not None:
        return [take for take in takes_for(batch.holder) if take.lot_id != batch.poured_lot_id]
    return held_for(batch.reservation_id) if batch.reservation_id else []


def _values(takes: Iterable[Take]) -> _Values:
    values = _Values()
    for take in takes:
        values.takes[take.material_id].append(take)
    ids = [take.lot_id for some in values.takes.values() for take in some]
    values.certificates = certificates_of(ids)
    return values


def _ingoing(row: BatchLine, values: _Values) -> Ingoing:
    material = row.material
    names = [name.strip() for name in material.inci_name.split(", ")]
    role = _role(row)
    sv = purity = None
    if role is Role.FAT:
        sv = values.mean(material.pk, "sv_mg_koh_g", material.sv_mg_koh_g)
    if role is Role.ALKALI:
        purity = values.mean(material.pk, "purity", material.purity)
    return Ingoing(
        name=names[0] or material.name,
        mass_ng=_mass(row),
        role=role,
        sv_mg_koh_g=sv or Decimal(0),
        alkali=material.alkali,
        purity=Decimal(1) if purity is None else purity,
        is_solution=material.kind != Kind.ALKALI.value,
        naoh_g_per_g=material.acid_naoh_g_per_g or Decimal(0),
        water_share=material.water_share or Decimal(0),
        beside=() if _is_worded(row) else tuple(names[1:]),
    )


def _role(row: BatchLine) -> Role:
    """What a row does in the kettle; fats beside those that the lye is set on stay as they are."""
    material, line = row.material, row.formula_line
    if row.part == Part.WATER:
        return Role.WATER
    if row.part != Part.LINE:
        return Role.ALKALI
    if line is not None and line.basis == Basis.SHARE_OF_FATS.value:
        return Role.FAT
    if material.acid_naoh_g_per_g and row.stage in _BATTER:
        return Role.ACID
    if material.kind == Kind.LIQUID.value and material.water_share == 1:
        return Role.WATER
    return _BY_KIND.get(material.kind, Role.OTHER)


def _is_worded(row: BatchLine) -> bool:
    """Whether its name on a label is a word of the law and not that of the material."""
    return _role(row) in (Role.WATER, Role.ALKALI, Role.FRAGRANCE)


def _fragrances(rows: Sequence[BatchLine], values: _Values) -> Iterable[FragranceTake]:
    seen: set[int] = set()
    for row in rows:
        material = row.material
        if _role(row) is not Role.FRAGRANCE or material.pk in seen:
            continue
        seen.add(material.pk)
        takes = values.takes.get(material.pk, [])
        for take in takes:
            certificate = values.certificates[take.lot_id]
            yield FragranceTake(
                lot=take.lot_code, mass_ng=take.amount, allergens=certificate.allergens
            )
        if not takes:
            yield FragranceTake(lot=material.name, mass_ng=_mass(row), allergens=None)


def _mass(row: BatchLine) -> int:
    return row.material.mass_of(row.planned if row.actual is None else row.actual)
