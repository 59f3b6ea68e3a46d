"""Whether a version can be made, told in the names that it is written by, all faults at once."""

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.bench.pours import Pour, check_layers
from recipes.domain.chemistry.blends import alkali_in, check_blend
from recipes.domain.chemistry.formula_check import check_formula, check_range
from recipes.domain.cure.drying import LONGEST_DAYS
from recipes.domain.formulas.formula import Basis
from recipes.domain.weighing import COARSEST
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaLine, FormulaVersion
from recipes.queries.formulas.formulas import (
    Made,
    contents_of_version,
    ingredient_of,
    loaded_from,
)
from recipes.queries.formulas.slots import check_slots
from studio.foundation.errors import Faults

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

#: What may dissolve the alkali: what is bought as a liquid, or made here (tea, brine).
WATERS = (MaterialKind.LIQUID.value, MaterialKind.INTERMEDIATE.value)
_COOLEST, _HOTTEST = Decimal(5), Decimal(90)
MOST_LINES = 200
#: More than two months of labor without a night, for one step of a batch.
MOST_MINUTES = 100_000
#: What a bar may lose in a week and be told cured: nothing is dry to the grain, or at half of it.
LEAST_WEEKLY_LOSS, MOST_WEEKLY_LOSS = Decimal("0.0001"), Decimal("0.5")
#: What a version calls the settings of its lye, and of a blend.
_NAMES = {
    "naoh_purity": "naoh",
    "koh_purity": "koh",
    "masterbatch_strength": "masterbatch",
    "loss_share": "pot_loss_share",
}
_LINE_NAMES = {"ingredient": "material", "share": "amount"}


def check_version(version: FormulaVersion, rows: Sequence[FormulaLine], pour: Pour) -> None:
    """Refuse a version that cannot be made, with all that is wrong with it.

    Raises FormulaRefusal; its paths are those that a version is written by.
    """
    faults = Faults()
    if not rows:
        faults.add("no-lines", "A recipe needs at least one line.", "lines")
    if len(rows) > MOST_LINES:
        faults.add("too-many-lines", f"A recipe has at most {MOST_LINES} lines.", "lines")
    _check_places(rows, faults)
    contents = contents_of_version(version, rows)
    loaded = loaded_from(version, rows, pour=pour, contents=contents)
    if loaded.soap is None:
        _check_blend(version, rows, pour, faults)
        try:
            makes = version.formula.product.alkali or alkali_in(loaded.blend)
            check_blend(loaded.blend, makes=makes, loss_share=version.pot_loss_share)
        except FormulaRefusal as refusal:
            _take(refusal, faults)
    else:
        _check_alkali(version, contents, faults)
        _check_strained(rows, faults)
        check_layers(pour.layers, pour.portions, faults)
        try:
            check_formula(loaded.soap)
        except FormulaRefusal as refusal:
            _take(refusal, faults)
    _check_bench(version, faults)
    faults.raise_if_any(FormulaRefusal)


def _take(refusal: FormulaRefusal, faults: Faults) -> None:
    """Keep faults of the chemistry under the names that the version and its lines are written by.

    A concentration that was not given is told once, by `_check_alkali`.
    """
    missing = {fault.field for fault in faults.found if fault.code == "concentration-missing"}
    for fault in refusal.faults:
        field = fault.field.removeprefix("alkali.")
        if field.startswith("lines."):
            line, *rest = field.removeprefix("lines.").split(".")
            named = [_LINE_NAMES[rest[0]]] if rest and rest[0] in _LINE_NAMES else rest
            field = ".".join(["lines", line, *named])
        field = _NAMES.get(field, field)
        if field not in missing:
            faults.add(fault.code, fault.message, field, **fault.details)


def _check_bench(version: FormulaVersion, faults: Faults) -> None:
    for name, most in (
        ("cure_days", LONGEST_DAYS),
        ("ready_days", LONGEST_DAYS),
        ("minutes", MOST_MINUTES),
    ):
        if not 0 <= (getattr(version, name) or 0) <= most:
            faults.add("outside-range", f"From 0 to {most}.", name)
    least, most_loss = LEAST_WEEKLY_LOSS, MOST_WEEKLY_LOSS
    check_range(version.weekly_loss_limit, least, most_loss, "weekly_loss_limit", faults)
    if not 0 < version.resolution <= COARSEST:
        faults.add(
            "resolution-outside", "A scale's step is above 0 and at most 1 kg.", "resolution"
        )
    if version.rinse_share is not None and not 0 <= version.rinse_share < 1:
        faults.add("rinse-outside", "A part of the water rinses, never all of it.", "rinse_share")
    if not _COOLEST <= version.pour_temperature_c <= _HOTTEST:
        faults.add(
            "temperature-outside",
            f"Soap is poured from {_COOLEST} to {_HOTTEST} °C here: the densities of lye are known "
            "between these.",
            "pour_temperature",
        )


def _check_places(rows: Sequence[FormulaLine], faults: Faults) -> None:
    """Packaging is taken after the cure: a material packed cannot also go into the soap."""
    packed = {row.material_id for row in rows if row.is_packing}
    for row in rows:
        if not row.is_packing and row.material_id in packed:
            faults.add(
                "packed-and-poured",
                f"{row.material.name} is packed after the cure, so it cannot also be poured.",
                f"lines.{row.position}.stage",
            )


def _check_blend(
    version: FormulaVersion, rows: Sequence[FormulaLine], pour: Pour, faults: Faults
) -> None:
    if version.superfat is not None:
        faults.add(
            "superfat-of-a-blend", "A blend is only mixed: leave its superfat empty.", "superfat"
        )
    if pour.portions or pour.layers:
        faults.add("blend-portions", "A blend is mixed, not poured in portions.", "portions")
    for row in rows:
        if row.basis != Basis.OF_BATTER.value:
            faults.add(
                "blend-basis",
                f"{row.material.name}: in a blend every line is a share of the whole, "
                f"'{Basis.OF_BATTER.value}'.",
                f"lines.{row.position}.basis",
            )


def _check_strained(rows: Sequence[FormulaLine], faults: Faults) -> None:
    for row in rows:
        if row.strained:
            faults.add(
                "strained-of-soap",
                f"{row.material.name}: only of a blend is something strained out again.",
                f"lines.{row.position}.strained",
            )


def _check_water(water: "Material | None", contents: Made, faults: Faults) -> None:
    if water is None:
        faults.add("water-missing", "Name the water of the lye.", "water")
    elif ingredient_of(water, contents).holds_alkali:
        faults.add("alkali-as-water", f"{water.name} holds alkali itself.", "water")
    elif water.kind not in WATERS:
        faults.add(
            "not-a-water",
            f"{water.name} is no liquid to dissolve alkali in: name water, or what is used "
            "in its place, and give this a line of its own.",
            "water",
        )


def _check_alkali(version: FormulaVersion, contents: Made, faults: Faults) -> None:
    """The superfat must be meant; the alkali must be named, and be what it is taken for."""
    if version.koh_share < 1 and version.naoh is None and version.masterbatch is None:
        faults.add("alkali-missing", "Name the NaOH, or a masterbatch lye of it.", "naoh")
    if version.koh_share > 0 and version.koh is None:
        faults.add("alkali-missing", "Name the KOH that the recipe shares in.", "koh")
    if version.superfat is None:
        faults.add("superfat-missing", "Say how much superfat the soap has.", "superfat")
    _check_water(version.water, contents, faults)
    if version.lye_concentration is None:
        faults.add("concentration-missing", "Give the lye concentration.", "lye_concentration")
    check_slots(version, contents, faults)
    stored = version.masterbatch
    if stored is not None and stored.purity is None and stored.pk not in contents:
        faults.add(
            "strength-missing",
            f"Enter how much of {stored.name} is pure NaOH, by mass.",
            "masterbatch",
        )
