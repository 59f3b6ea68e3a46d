"""Plans of current versions in molds, made from rows read once and kept where they are frozen.

A frozen version never changes, so its plan rests on the mold, on the scales that are kept, on the
materials of its lines and of its lye with what those are made of, and on the lye's settings that
are only asked about. Each
question compares all of them by what they hold, not by a sign that somebody has to set: a plan is
made anew from its rows once anything differs. What is kept lives in the memory of the process and
is never stored.
"""

from collections import OrderedDict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from threading import Lock
from typing import TYPE_CHECKING, Any

from costing.domain.bar_cost.conversion import Work
from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.recipe_cost import Sized
from costing.queries.bar_cost.replacement import taken_apart
from inventory.queries.catalog.materials import materials_by_id
from recipes.domain.formulas.formula import Stage
from recipes.queries.formulas.current import contents_of_materials
from recipes.queries.formulas.listed import Head, current_heads, current_versions
from recipes.queries.levels.explosion import Production
from recipes.queries.scales.scales import KeptScales, kept_scales
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import Refusal

if TYPE_CHECKING:
    from django.db.models import Model

    from inventory.domain.stock.contents import Contents
    from inventory.models.catalog.materials import Material
    from recipes.models.molds.molds import Mold
    from recipes.queries.formulas.formulas import LoadedFormula

#: An outline takes a few kilobytes.
MOST_KEPT = 4_000
#: Fields of the lye that are set anew, sorted: ("superfat", 0.05).
Settings = tuple[tuple[str, Decimal], ...]
_Key = tuple[Head, int, Settings, KeptScales]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A soap at its size: its version's number, minutes and days of cure, bars, and what it needs
    by material id; `packed` are the materials among them that only pack its bars."""

    number: int
    minutes: int | None
    cure_days: int
    bars: int
    needs: Mapping[int, int]
    packed: frozenset[int]


def outline_of(plan: Plan) -> Outline:
    """The outline of a plan. No query."""
    version = plan.loaded.version
    soap = {line.material.pk for line in plan.lines if line.stage is not Stage.PACK}
    return Outline(
        number=version.number,
        minutes=version.minutes,
        cure_days=version.cure_days,
        bars=plan.bars,
        needs=plan.needs,
        packed=frozenset(plan.needs) - soap,
    )


def sized(
    outline: Outline,
    production: Production,
    *,
    work: Work,
    packing: Packing | None = None,
    packing_said: bool = True,
    batches: int = 1,
) -> Sized:
    """So many batches at once, their blends taken apart that are made here. No query.

    Raises ProductionCycle, ScalingRefusal.
    """
    needs = {pk: need * batches for pk, need in outline.needs.items() if need}
    apart = None
    if not production.makers.keys().isdisjoint(needs):
        apart = taken_apart(needs, production)
        needs = {pk: sum(tops.values()) for pk, tops in apart.bought.items()}
    return Sized(
        needs=needs,
        bars=outline.bars * batches,
        batches=batches,
        work=work,
        packed=outline.packed,
        makings=apart.makings if apart else (),
        packing=packing,
        packing_said=packing_said,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A formula (its id) in a mold, with its lye as it is or set anew."""

    formula: int
    mold: "Mold"
    settings: Settings = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """An outline, and what each material held that it rests on."""

    outline: Outline
    rests_on: Mapping[int, int]


class _Store:
    """The plans used last, for all threads of the process."""

    def __init__(self) -> None:
        self._kept: OrderedDict[_Key, _Kept] = OrderedDict()
        self._lock = Lock()

    def get(self, keys: Iterable[_Key]) -> dict[_Key, _Kept]:
        with self._lock:
            found = {key: self._kept[key] for key in keys if key in self._kept}
            for key in found:
                self._kept.move_to_end(key)
        return found

    def keep(self, kept: Mapping[_Key, _Kept]) -> None:
        with self._lock:
            self._kept.update(kept)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)


_STORE = _Store()


class Plans:
    """The plans of one question; what is read for one of them is not read again for another."""

    def __init__(self, formulas: Collection[int]) -> None:
        """Which versions are current, and what is weighed on. Two queries."""
        self.heads = current_heads(formulas)
        self.scales = kept_scales()
        self.materials: dict[int, Material] = {}
        self._loaded: dict[int, LoadedFormula] = {}
        self._contents: dict[int, int] = {}
        self._made_of: dict[int, Contents] = {}

    def of(self, wanted: Sequence[Wanted]) -> list[Outline | Refusal]:
        """The outline of each, or why it cannot be made. Formulas have a version.

        At most six queries, however many are wanted, and four a level of what is made here.
        """
        keys = [
            (self.heads[each.formula], _content(each.mold), each.settings, self.scales)
            for each in wanted
        ]
        kept = _STORE.get(dict.fromkeys(keys))
        self._read({pk for each in kept.values() for pk in each.rests_on})
        found: dict[_Key, Outline | Refusal] = {
            key: each.outline for key, each in kept.items() if self._still_holds(each)
        }
        missing = {key: each for key, each in zip(keys, wanted, strict=True) if key not in found}
        self._load({each.formula for each in missing.values()})
        fresh: dict[_Key, _Kept] = {}
        for key, each in missing.items():
            try:
                made = self._made(each)
            except Refusal as refusal:
                found[key] = refusal
                continue
            found[key] = made.outline
            if key[0].frozen_at and key[0].version == self._loaded[each.formula].version.pk:
                fresh[key] = made
        _STORE.keep(fresh)
        return [found[key] for key in keys]

    def _read(self, materials: Collection[int]) -> None:
        if unread := [pk for pk in materials if pk not in self.materials]:
            found = materials_by_id(unread)
            self.materials.update(found)
            self._made_of.update(contents_of_materials(found.values()))

    def _load(self, formulas: Collection[int]) -> None:
        if unread := [pk for pk in formulas if pk not in self._loaded]:
            found = current_versions(unread, scales=self.scales)
            self._loaded.update(found)
            for loaded in found.values():
                self._made_of.update(loaded.contents)

    def _still_holds(self, kept: _Kept) -> bool:
        now = self.materials
        return all(
            pk in now and self._content_of(now[pk]) == then for pk, then in kept.rests_on.items()
        )

    def _content_of(self, material: "Material") -> int:
        # By the object: two reads of a material may differ.
        if id(material) not in self._contents:
            made_of = self._made_of.get(material.pk)
            self._contents[id(material)] = hash((_content(material), repr(made_of)))
        return self._contents[id(material)]

    def _made(self, wanted: Wanted) -> _Kept:
        loaded = self._loaded[wanted.formula]
        version = loaded.version
        lye = (version.naoh, version.koh, version.masterbatch, version.water)
        used = [*(row.material for row in loaded.rows), *(each for each in lye if each is not None)]
        if wanted.settings and loaded.soap is not None:
            alkali = replace(loaded.soap.alkali, **dict[str, Any](wanted.settings))
            loaded = replace(loaded, soap=replace(loaded.soap, alkali=alkali))
        plan = make_plan(loaded, Wish(mold=wanted.mold))
        # What was read first stays: contents are known by the object.
        self.materials = {**plan.materials, **self.materials}
        return _Kept(
            outline=outline_of(plan),
            rests_on={material.pk: self._content_of(material) for material in used},
        )


def _content(row: "Model") -> int:
    """A fingerprint of all that a row holds."""
    values: list[Any] = [getattr(row, field.attname) for field in row._meta.concrete_fields]
    return hash(tuple(values))
