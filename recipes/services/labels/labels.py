"""Labels as drafts: of bars with what went in, of batches on the rack, of lots on the shelf."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.domain.stock.holds import Cause, Outcome
from inventory.domain.stock.lots import LotState
from inventory.queries.stock.holds import holds_for
from recipes.domain.formulas.formula import ZERO, Notice
from recipes.domain.labels.ingredient_list import (
    EU,
    Convention,
    IngredientList,
    LabelAllergens,
    Wording,
    label_allergens,
    list_added,
    list_results,
)
from recipes.domain.weighing import nearest_whole
from recipes.errors import LabelRefusal, LyeHeavy
from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import batch_by_code
from recipes.services.labels.went_in import WentIn, went_in
from studio.foundation.units.writing import percent

if TYPE_CHECKING:
    from inventory.models.stock.holds import Hold

_SAFE = frozenset({Outcome.MEASURED, Outcome.SAFE})


def found_safe(batch: Batch) -> "Hold | None":
    """The hold by which a batch's soap was held as lye-heavy, if an owner found it safe last.

    That of the bars, or of the poured soap where it was decided over before the cut. Two queries.
    """
    for lot in (batch.bar_lot_id, batch.poured_lot_id):
        held = holds_for(lot, batch.holder, {Cause.LYE}) if lot is not None else []
        if any(each.open for each in held):
            return None
        if held:
            return held[-1] if held[-1].outcome in _SAFE else None
    return None


def words_of_decision(held: "Hold") -> str:
    """By whom it was found safe, when, and by what."""
    by = held.lifted_by.username if held.lifted_by else "an owner"
    found = "judged it safe again"
    if held.free_alkali is not None:
        found = f"freed it with {percent(held.free_alkali, 4)} free alkali as measured"
        found += f" on {held.measured_on}"
    return f"{by} {found}, decided on {held.lifted_on} ({held.lifted_reason.rstrip('.')})"


LOCAL_LAW = (
    "Draft. Before printing, check names, order, weight, warnings and claims against local law."
)
#: Precautions of use (Reg. (EC) 1223/2009 art. 19(1)(d) asks for them; words: common practice).
BAR_CAUTIONS = (
    "For external use only.",
    "Avoid contact with the eyes; rinse with water if it gets in.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelWish:
    """How a bar label is written; `net_weight_ng` is what it declares."""

    convention: Convention = Convention.RESULTS
    wording: Wording = EU
    net_weight_ng: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLabel:
    """The draft of a bar's label. `notices` tell what is missing or must be looked at.

    `infused_with` names what was strained out again: it is no ingredient, and stands beside them.
    """

    batch: Batch
    lot_code: str
    best_before: date | None
    net_weight_ng: int | None
    listed: IngredientList
    allergens: LabelAllergens
    notices: tuple[Notice, ...]
    infused_with: tuple[str, ...] = ()
    cautions: tuple[str, ...] = BAR_CAUTIONS
    statement: str = LOCAL_LAW

    @property
    def ingredients(self) -> tuple[str, ...]:
        """All names in label order: ingredients, allergens, colorants."""
        before = [item.name for item in self.listed.items if not item.is_colorant]
        named = [one.name for one in self.allergens.named if one.name not in before]
        return (*before, *named, *(i.name for i in self.listed.items if i.is_colorant))


def bar_label(code: str, wish: LabelWish) -> BarLabel:
    """The label of a batch's bars. Seven queries at most, and two a level of what is planned and
    made here.

    Raises NotFound, LabelRefusal for what makes no bars or is blocked, LyeHeavy unless an owner
    decided that these bars are safe; then a notice tells of it.
    """
    batch = batch_by_code(code)
    _check(batch, wish)
    contents = went_in(batch)
    dried = nearest_whole(contents.batter_ng * batch.version.cure_loss_share)
    results, decided = _results(batch, contents, wish, dried_ng=dried)
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
        infused_with=contents.infused_with,
        notices=(
            *_notices(batch, contents, listed, allergens, wish),
            *_dried_notice(results, dried, wish),
            *decided,
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
    contents: WentIn,
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


def _results(
    batch: Batch, contents: WentIn, wish: LabelWish, *, dried_ng: int
) -> tuple[IngredientList, Sequence[Notice]]:
    """What results, and a notice where an owner's word stands against the figures."""
    try:
        return list_results(contents.ingoing, dried_ng=dried_ng, wording=wish.wording), ()
    except LyeHeavy:
        held = found_safe(batch)
        if held is None:
            raise
    results = list_results(
        contents.ingoing, dried_ng=dried_ng, wording=wish.wording, found_safe=True
    )
    notice = Notice(
        "lye-decided",
        f"By what was weighed the superfat is {percent(results.superfat or ZERO)}; "
        f"{words_of_decision(held)}. The list counts all fat as soap, and no lye beyond it.",
    )
    return results, (notice,)


def _dried_notice(results: IngredientList, dried_ng: int, wish: LabelWish) -> Iterator[Notice]:
    if wish.convention is Convention.RESULTS and results.evaporated_ng < dried_ng:
        yield Notice(
            "dries-beyond-water",
            "The cure takes off more than the water that is listed as such; the rest comes out of "
            "other liquids, which are listed as heavy as they went in.",
        )
