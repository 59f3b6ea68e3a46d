"""Labels as drafts: of bars with what went in, of batches on the rack, of lots on the shelf."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.lots import LotState
from inventory.queries.stock.certificates import certificates_of
from inventory.queries.stock.documents import Take, held_for, takes_for
from recipes.domain.formulas.formula import BATTER_STAGES, Basis, Notice
from recipes.domain.labels.ingredient_list import (
    EU,
    Convention,
    FragranceTake,
    Ingoing,
    IngredientList,
    LabelAllergens,
    Role,
    Wording,
    label_allergens,
    list_added,
    list_results,
)
from recipes.domain.weighing import nearest_whole
from recipes.errors import LabelRefusal
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.shelf import batch_rows

Part = BatchLine.Part
_BATTER = frozenset(stage.value for stage in BATTER_STAGES)
_BY_KIND = {Kind.FRAGRANCE.value: Role.FRAGRANCE, Kind.COLORANT.value: Role.COLORANT}
LOCAL_LAW = (
    "Draft. Before printing, check names, order, weight, warnings and claims against local law."
)
#: Precautions of use (Reg. (EC) 1223/2009 art. 19(1)(d) asks for them; words: common practice).
BAR_CAUTIONS = (
    "For external use only.",
    "Avoid contact with the eyes; rinse with water if it gets in.",
)


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
    certificates: Mapping[int, Certificate] = field(default_factory=dict)

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


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelWish:
    """How a bar label is written; `net_weight_ng` is what it declares."""

    convention: Convention = Convention.RESULTS
    wording: Wording = EU
    net_weight_ng: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLabel:
    """The draft of a bar's label. `notices` tell what is missing or must be looked at."""

    batch: Batch
    lot_code: str
    best_before: date | None
    net_weight_ng: int | None
    listed: IngredientList
    allergens: LabelAllergens
    notices: tuple[Notice, ...]
    cautions: tuple[str, ...] = BAR_CAUTIONS
    statement: str = LOCAL_LAW

    @property
    def ingredients(self) -> tuple[str, ...]:
        """All names in label order: ingredients, allergens, colorants."""
        before = [item.name for item in self.listed.items if not item.is_colorant]
        named = [one.name for one in self.allergens.named if one.name not in before]
        return (*before, *named, *(i.name for i in self.listed.items if i.is_colorant))


def bar_label(code: str, wish: LabelWish) -> BarLabel:
    """The label of a batch's bars. Six queries at most.

    Raises NotFound, LabelRefusal for what makes no bars or is blocked, LyeHeavy.
    """
    batch = batch_by_code(code)
    _check(batch, wish)
    contents = contents_of(batch)
    dried = nearest_whole(contents.batter_ng * batch.version.cure_loss_share)
    results = list_results(contents.ingoing, dried_ng=dried, wording=wish.wording)
    listed = results
    if wish.convention is Convention.ADDED:
        listed = list_added(contents.ingoing, wording=wish.wording)
    allergens = label_allergens(
        contents.fragrances, finished_ng=results.in_ng - results.evaporated_ng
    )
    bars = batch.bar_lot
    return BarLabel(
        batch=batch,
        lot_code=bars.code if bars else batch.code,
        best_before=bars.best_before if bars else None,
        net_weight_ng=wish.net_weight_ng,
        listed=listed,
        allergens=allergens,
        notices=(
            *_notices(batch, contents, listed, allergens, wish),
            *_dried_notice(results, dried, wish),
        ),
    )


def rack_batch(code: str) -> Batch:
    """A batch for its label on the curing rack. Two queries. Raises NotFound, LabelRefusal."""
    batch = batch_by_code(code)
    if batch.state == BatchState.CANCELLED:
        raise LabelRefusal(f"Batch {batch.code} was called off.", field="batch")
    return batch


def _check(batch: Batch, wish: LabelWish) -> None:
    if batch.version.formula.batter_id is None:
        raise LabelRefusal(f"Batch {batch.code} is a blend: it makes no bars.", field="batch")
    if batch.state == BatchState.CANCELLED:
        raise LabelRefusal(f"Batch {batch.code} was called off.", field="batch")
    lot = batch.bar_lot or batch.poured_lot
    if lot is not None and lot.state == LotState.BLOCKED.value:
        raise LabelRefusal(f"Lot {lot.code} is blocked: {lot.state_reason}", field="batch")
    if wish.net_weight_ng is not None and wish.net_weight_ng <= 0:
        raise LabelRefusal("A net weight is above zero.", field="net_weight")


def _notices(
    batch: Batch,
    contents: Contents,
    listed: IngredientList,
    allergens: LabelAllergens,
    wish: LabelWish,
) -> Iterator[Notice]:
    if batch.bar_lot is None:
        yield Notice("not-cut", "The bars are not cut: their lot code is only what it will be.")
    elif batch.bar_lot.best_before is None:
        yield Notice(
            "no-best-before",
            "The bar lot has no best before date; enter it there, or a shelf life of its material.",
        )
    if wish.net_weight_ng is None:
        yield Notice("no-net-weight", "No net weight was given.", "net_weight")
    for name in contents.unnamed:
        yield Notice("inci-missing", f"{name} has no INCI name: its plain name stands there.")
    for name in listed.unpublished:
        yield Notice("name-unpublished", f"No published list here names what lye makes of {name}.")
    for lot in allergens.unstated:
        yield Notice("allergens-unstated", f"Nothing is certified of the allergens of {lot}.")
    if any(one.beside for one in contents.ingoing):
        yield Notice(
            "amount-unknown",
            "What an infusion or mixture brings besides its first ingredient stands at the end: "
            "its amount is not known.",
        )


def _dried_notice(results: IngredientList, dried_ng: int, wish: LabelWish) -> Iterator[Notice]:
    if wish.convention is Convention.RESULTS and results.evaporated_ng < dried_ng:
        yield Notice(
            "dries-beyond-water",
            "The cure takes off more than the water that is listed as such; the rest comes out of "
            "other liquids, which are listed as heavy as they went in.",
        )
