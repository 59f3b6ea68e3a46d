"""What went into the soap of a batch, as labels list it: through blends, to what was bought."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.domain.catalog.alkalis import naoh_of
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.contents import Contents, Part, mix, of_leaf
from inventory.domain.stock.leaves import Leaf, leaf_of
from inventory.queries.stock.contents import contents_of
from inventory.queries.stock.documents import Take, held_for, takes_for
from recipes.domain.formulas.formula import BATTER_STAGES, ONE, ZERO, Basis
from recipes.domain.labels.ingredient_list import FragranceTake, Ingoing, Role
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.formulas.current import contents_of_materials
from recipes.services.bench.shelf import batch_rows
from studio.foundation.money import split

_BATTER = frozenset(stage.value for stage in BATTER_STAGES)
_BY_KIND = {Kind.FRAGRANCE: Role.FRAGRANCE, Kind.COLORANT: Role.COLORANT}
#: Their name on a label is a word of the law and not that of the material.
_WORDED = frozenset({Role.WATER, Role.ALKALI, Role.FRAGRANCE})
#: Shares of a row are split as whole numbers of this fineness.
_FINE = 10**18


@dataclass(frozen=True, slots=True, kw_only=True)
class WentIn:
    """The soap of one bar lot, without its packaging. Masses in ng.

    `batter_ng` is what was poured; toppings lie beside it in `ingoing`. `unnamed` are materials
    without an INCI name, `infused_with` the names of what was strained out of blends again.
    """

    ingoing: tuple[Ingoing, ...]
    fragrances: tuple[FragranceTake, ...]
    batter_ng: int
    unnamed: tuple[str, ...]
    infused_with: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Amount:
    """So much of a leaf in one row, with what it does there; `reacted` in an earlier soap."""

    leaf: Leaf
    mass_ng: int
    role: Role
    purity: Decimal
    demand: Decimal


def went_in(batch: Batch) -> WentIn:
    """What a batch is made of: taken from lots, else held, else planned. At most four queries, and
    two a level of what is planned and made here.
    """
    rows = [row for row in batch_rows(batch) if not row.is_packing]
    inside = _contents(batch, rows)
    amounts = [amount for row in rows if _mass(row) for amount in _of_row(row, inside)]
    nameless = {a.leaf.name for a in amounts if a.role not in _WORDED and not _names(a.leaf)[0]}
    strained = {leaf for contents in inside.values() for leaf in contents.strained}
    return WentIn(
        ingoing=tuple(_ingoing(amount) for amount in amounts),
        fragrances=tuple(_fragrances(amounts)),
        batter_ng=sum(_mass(row) for row in rows if row.stage in _BATTER),
        unnamed=tuple(sorted(nameless)),
        infused_with=tuple(sorted({_names(leaf)[0] or leaf.name for leaf in strained})),
    )


def _contents(batch: Batch, rows: Sequence[BatchLine]) -> Mapping[int, Contents]:
    """By material id, what all that was taken of it consists of on the whole."""
    takes: dict[int, list[Take]] = defaultdict(list)
    for take in _takes(batch):
        takes[take.material_id].append(take)
    lots = contents_of(take.lot_id for some in takes.values() for take in some)
    bare = {row.material_id: row.material for row in rows if row.material_id not in takes}
    made = contents_of_materials(bare.values())
    found = {}
    for row in rows:
        some = takes.get(row.material_id)
        if some:
            parts = [Part(lots[take.lot_id], take.amount) for take in some]
            found[row.material_id] = mix(parts, out=sum(take.amount for take in some))
        else:
            found[row.material_id] = made.get(row.material_id) or of_leaf(leaf_of(row.material))
    return found


def _takes(batch: Batch) -> list[Take]:
    if batch.poured_on is not None:
        return [take for take in takes_for(batch.holder) if take.lot_id != batch.poured_lot_id]
    return held_for(batch.reservation_id) if batch.reservation_id else []


def _of_row(row: BatchLine, inside: Mapping[int, Contents]) -> list[_Amount]:
    contents = inside[row.material_id]
    leaves = [(leaf, share, False) for leaf, share in contents.leaves.items() if share]
    leaves += [(leaf, share, True) for leaf, share in contents.reacted.items() if share]
    shares = _without_steam([(leaf, share) for leaf, share, _ in leaves])
    masses = split(_mass(row), [int(share * _FINE) for share in shares]) if sum(shares) else []
    purer, richer = _measured(contents)
    return [
        _Amount(
            leaf=leaf,
            mass_ng=mass,
            role=_role(row, leaf, reacted=reacted),
            purity=_as_alkali(leaf) * (ONE if reacted else purer),
            demand=_demand(leaf) * (ONE if reacted else richer),
        )
        for (leaf, _, reacted), mass in zip(leaves, masses, strict=False)
        if mass
    ]


def _without_steam(shares: Sequence[tuple[Leaf, Decimal]]) -> list[Decimal]:
    """The shares of a whole: what is beyond it steamed off, and that was water."""
    beyond = max(sum((share for _, share in shares), ZERO) - ONE, ZERO)
    water = sum((share for leaf, share in shares if leaf.water_share == 1), ZERO)
    left = max(water - beyond, ZERO) / water if water else ONE
    return [share * left if leaf.water_share == 1 else share for leaf, share in shares]


def _measured(contents: Contents) -> tuple[Decimal, Decimal]:
    """How much stronger in alkali, and in demand, the whole is than its parts say: what was
    measured of a blend goes before what follows from them.
    """
    alkali = sum((share * _as_alkali(leaf) for leaf, share in contents.leaves.items()), ZERO)
    demand = sum((share * _demand(leaf) for leaf, share in contents.leaves.items()), ZERO)
    pure = contents.naoh.usual + contents.koh.usual
    if contents.reacted:
        return ONE, ONE
    return (
        pure / alkali if alkali and pure else ONE,
        contents.demand.usual / demand if demand and contents.demand else ONE,
    )


def _as_alkali(leaf: Leaf) -> Decimal:
    """Pure alkali in it; another one than KOH as NaOH."""
    if not leaf.alkali:
        return ZERO
    return leaf.purity.usual * (ONE if leaf.alkali == "KOH" else naoh_of(leaf.alkali))


def _demand(leaf: Leaf) -> Decimal:
    return leaf.demand.usual if leaf.demand else ZERO


def _role(row: BatchLine, leaf: Leaf, *, reacted: bool) -> Role:
    """What a leaf does in the kettle; fats beside those that the lye is set on stay as they are."""
    line = row.formula_line
    if leaf.alkali:
        return Role.ALKALI
    if row.part == BatchLine.Part.WATER and leaf.material == row.material_id:
        return Role.WATER
    if _demand(leaf) and (reacted or (line and line.basis == Basis.SHARE_OF_FATS.value)):
        return Role.FAT
    if leaf.acid_naoh and row.stage in _BATTER:
        return Role.ACID
    if leaf.kind is Kind.LIQUID and leaf.water_share == 1:
        return Role.WATER
    return _BY_KIND.get(leaf.kind, Role.OTHER)


def _ingoing(amount: _Amount) -> Ingoing:
    leaf = amount.leaf
    names = _names(leaf)
    return Ingoing(
        name=names[0] or leaf.name,
        mass_ng=amount.mass_ng,
        role=amount.role,
        sv_mg_koh_g=amount.demand,
        alkali="KOH" if leaf.alkali == "KOH" else "NaOH" if leaf.alkali else "",
        purity=min(amount.purity, ONE) if leaf.alkali else ONE,
        is_solution=leaf.kind is not Kind.ALKALI,
        naoh_g_per_g=leaf.acid_naoh,
        water_share=leaf.water_share,
        beside=() if amount.role in _WORDED else tuple(names[1:]),
    )


def _names(leaf: Leaf) -> list[str]:
    return [name.strip() for name in leaf.inci_name.split(", ")]


def _fragrances(amounts: Iterable[_Amount]) -> Iterable[FragranceTake]:
    """Fragrance by its lots, and what else has stated allergens, however it came in."""
    masses: dict[Leaf, int] = defaultdict(int)
    for amount in amounts:
        if amount.role is Role.FRAGRANCE or amount.leaf.allergens:
            masses[amount.leaf] += amount.mass_ng
    for leaf, mass in masses.items():
        yield FragranceTake(lot=leaf.lot or leaf.name, mass_ng=mass, allergens=leaf.allergens)


def _mass(row: BatchLine) -> int:
    return row.material.mass_of(row.planned if row.actual is None else row.actual)
