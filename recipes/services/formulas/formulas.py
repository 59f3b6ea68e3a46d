"""Formulas and their versions: written once, made current, frozen when a batch uses them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.holds import Cause
from inventory.services.catalog.materials import ensure_made_material, keep_as_lye
from inventory.services.stock.holds import lift
from recipes.domain.bench.pours import NOT_SPLIT, Pour
from recipes.domain.chemistry.blends import alkali_in
from recipes.domain.formulas.formula import Basis, Stage
from recipes.errors import FormulaRefusal
from recipes.models.bench.batches import BatchState
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas.current import is_trial
from recipes.queries.formulas.differences import differences
from recipes.queries.formulas.formulas import (
    LoadedFormula,
    contents_of_version,
    load_formula,
    loaded_from,
    marked,
    version_by_number,
)
from recipes.services.chemistry.worst_superfat import withdraw_accepted
from recipes.services.formulas.version_check import check_version
from recipes.services.levels.explosion import check_least_make, check_making
from recipes.services.scaling.planning import expect_made
from recipes.services.scaling.portions import keep_pour
from studio.foundation.doers import By, doer
from studio.foundation.errors import Faults
from studio.foundation.histories import tell
from studio.models import Unchanged, lock_kept
from studio.work.cleaning import take_field_faults
from studio.work.keeping import named

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


def keep_first_current(formula: Formula, version: FormulaVersion, *, by: By) -> None:
    """The first version of a locked recipe is current at once; a later one is left a trial."""
    if formula.current_id is None:
        _keep(formula, version, by=by)


@transaction.atomic
def make_current(
    version: FormulaVersion, *, unchanged: Unchanged | None = None, by: By = None
) -> Formula:
    """Let products, orders, costs and plans follow a version of a recipe from now on.

    What was made of a trial is what is sold from now on, too. One that was current before may be
    chosen again; one that is current stays so, with its day and name. `unchanged` is shown the
    locked recipe. Raises ProductionCycle when it would now need what it makes.
    """
    formula = lock_kept(Formula, version.formula_id, unchanged)
    if formula.current_id == version.pk:
        return formula
    version = version_by_number(formula.code, version.number)
    check_making(version, list(version.lines.select_related("material")))
    was_trial = is_trial(version)
    formula.revision += 1
    _keep(formula, version, by=by)
    if was_trial:
        version.formula = formula
        _sell_trials(version, by=by)
    return formula


def _sell_trials(version: FormulaVersion, *, by: By) -> None:
    """Lift what holds soap of a version as a trial, and expect the bars of what is planned."""
    why = f"version {version.number} was made current"
    for batch in version.batches.exclude(state=BatchState.CANCELLED).order_by("pk"):
        lift(Cause.TRIAL, batch.holder, on=timezone.localdate(), reason=why, by=by)
        batch.version = version
        expect_made(batch)


def _keep(formula: Formula, version: FormulaVersion, *, by: By) -> None:
    before = "" if formula.current is None else str(formula.current.number)
    formula.current, formula.current_since = version, timezone.now()
    formula.current_by = by or doer()
    now = str(version.number)
    tell(formula, told=[("Current version", before, now)], reason=f"version {now} made current")
    named(formula, by)
    fields = ("current", "current_since", "current_by", "changed_by", "revision", "updated_at")
    formula.save(update_fields=fields)


#: Of a soap formula, so that "<code>-batter" and "<name>, poured" fit their columns.
LONGEST_CODE, LONGEST_NAME = 33, 112


#: What may change of a formula that is there.
CHANGING = ("name", "note", "active", "least_make")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpec:
    """One line as it is written: the material, how much by which basis, and when it goes in."""

    material: "Material"
    basis: Basis
    amount: Decimal
    stage: Stage = Stage.FATS
    counts_as_water: bool = False
    strained: bool = False
    portion: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionSpec:
    """A version as it is written. Shares are fractions of 1, `resolution` is in nanograms.

    `superfat` is None for a blend, and must be meant for a soap.
    """

    lines: Sequence[LineSpec]
    naoh: "Material | None" = None
    koh: "Material | None" = None
    masterbatch: "Material | None" = None
    water: "Material | None" = None
    koh_share: Decimal = Decimal(0)
    superfat: Decimal | None = None
    lye_concentration: Decimal | None = None
    pour_temperature_c: Decimal = Decimal(40)
    pot_loss_share: Decimal = Decimal(0)
    cure_loss_share: Decimal = Decimal(0)
    cure_days: int = 0
    ready_days: int = 0
    weekly_loss_limit: Decimal = Decimal("0.01")
    rinse_share: Decimal | None = None
    resolution: int = 10**9
    minutes: int | None = None
    note: str = ""
    pour: Pour = NOT_SPLIT


@transaction.atomic
def add_formula(
    *,
    code: str,
    name: str,
    kind: str = FormulaKind.SOAP,
    note: str = "",
    product: "Material | None" = None,
    least_make: int | None = None,
    active: bool = True,
) -> Formula:
    """A new formula, with the materials that stand for what it makes.

    Soap makes bars "<code>-bar" out of poured soap "<code>-batter"; a blend makes the
    intermediate `product`, or one with the formula's own code, and at least `least_make` ng of
    it when plans ask for less. Raises MaterialRefusal, FormulaRefusal.
    """
    check_least_make(kind, least_make)
    if kind == FormulaKind.SOAP:
        _check_names(code, name)
    makes = _bar_of if kind == FormulaKind.SOAP else _blend_of
    made, batter = makes(code, name, product)
    return Formula.objects.create(
        code=code,
        name=name,
        kind=kind,
        product=made,
        batter=batter,
        note=note,
        least_make=least_make,
        active=active,
    )


def _bar_of(code: str, name: str, product: "Material | None") -> "tuple[Material, Material | None]":
    bar = product or ensure_made_material(
        code=f"{code}-bar", name=f"{name} bar", kind=MaterialKind.BAR, counted=True
    )
    if bar.kind != MaterialKind.BAR.value or not bar.counted:
        raise FormulaRefusal(
            f"Soap makes bars that are counted; {bar.name} is a {bar.kind}.", field="product"
        )
    batter = ensure_made_material(
        code=f"{code}-batter", name=f"{name}, poured", kind=MaterialKind.BATTER
    )
    return bar, batter


def _blend_of(
    code: str, name: str, product: "Material | None"
) -> "tuple[Material, Material | None]":
    made = product or ensure_made_material(code=code, name=name, kind=MaterialKind.INTERMEDIATE)
    if made.kind != MaterialKind.INTERMEDIATE.value:
        raise FormulaRefusal(
            f"A blend makes an intermediate; {made.name} is a {made.kind}.", field="product"
        )
    return made, None


@transaction.atomic
def write_formula(
    *, code: str, name: str, kind: FormulaKind, spec: VersionSpec, by: By = None
) -> Formula:
    """A new formula with its first version. Raises as `add_formula` and `add_version` do."""
    formula = add_formula(code=code, name=name, kind=kind)
    add_version(formula, spec, by=by)
    return formula


@transaction.atomic
def add_version(formula: Formula, spec: VersionSpec, *, by: By = None) -> FormulaVersion:
    """The next version of a formula: the first is current at once, a later one is a trial.

    Raises FormulaRefusal with every fault of lines and lye, and ProductionCycle when it would need
    what it makes.
    """
    given, formula = formula, Formula.objects.select_for_update().get(pk=formula.pk)
    last = formula.versions.aggregate(last=Max("number"))["last"] or 0
    version = _version(formula, spec, number=last + 1, by=by)
    rows = [_row(version, position, line) for position, line in enumerate(spec.lines)]
    check_version(version, rows, spec.pour)
    check_making(version, rows)
    _keep_as_lye(version, rows, by=by)
    before = load_formula(code=formula.code, number=last) if last else None
    version.save()
    FormulaLine.objects.bulk_create(rows)
    keep_pour(version, spec.pour)
    keep_first_current(formula, version, by=by)
    _tell(version, before, f"version {version.number} written", by=by)
    # Whoever goes on with the row that was given must not write over what is current.
    given.current, given.current_since = formula.current, formula.current_since
    given.current_by = formula.current_by
    return version


def draft_version(formula: Formula, spec: VersionSpec) -> tuple[FormulaVersion, list[FormulaLine]]:
    """A version and its lines as they would be, neither checked nor stored. No query."""
    version = _version(formula, spec, number=1, by=None)
    return version, [_row(version, position, line) for position, line in enumerate(spec.lines)]


@transaction.atomic
def rewrite_version(
    version: FormulaVersion,
    spec: VersionSpec,
    *,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> FormulaVersion:
    """Replace a version that no batch has used yet. Raises as `add_version`, also when frozen.

    `unchanged` is shown the version with its fingerprint as `revision`.
    """
    locked = lock_kept(FormulaVersion, version.pk)
    if unchanged is not None:
        unchanged(marked(locked))
    if locked.frozen_at is not None:
        raise FormulaRefusal(
            f"Version {locked.number} is frozen, since a batch used it; write a new version.",
            field="version",
        )
    changed = _version(version.formula, spec, number=locked.number, by=by)
    changed.pk, changed.created_at = locked.pk, locked.created_at
    rows = [_row(changed, position, line) for position, line in enumerate(spec.lines)]
    check_version(changed, rows, spec.pour)
    check_making(changed, rows)
    _keep_as_lye(changed, rows, by=by)
    before = load_formula(code=version.formula.code, number=locked.number)
    changed.save(force_update=True)
    locked.lines.all().delete()
    FormulaLine.objects.bulk_create(rows)
    keep_pour(changed, spec.pour)
    withdraw_accepted(changed)
    _tell(changed, before, f"version {changed.number} written anew", by=by)
    return changed


@transaction.atomic
def change_formula(
    formula: Formula,
    *,
    name: str,
    note: str,
    active: bool,
    least_make: int | None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> Formula:
    """Keep another name, note and use of a formula; what it makes stays.

    Raises FormulaRefusal with every fault.
    """
    formula = lock_kept(Formula, formula.pk, unchanged)
    check_least_make(formula.kind, least_make)
    if formula.kind == FormulaKind.SOAP:
        _check_names(formula.code, name)
    formula.name, formula.note = name, note
    formula.active, formula.least_make = active, least_make
    faults = Faults()
    take_field_faults(faults, formula, only=("name", "note"))
    faults.raise_if_any(FormulaRefusal)
    formula.revision += 1
    named(formula, by)
    formula.save()
    return formula


def _tell(version: FormulaVersion, before: LoadedFormula | None, what: str, *, by: By) -> None:
    """Have the recipe's history tell what a version that was just kept changed."""
    formula = version.formula
    now = load_formula(code=formula.code, number=version.number)
    found = differences(before, now)
    tell(formula, told=[(one.what, one.before, one.after) for one in found], reason=what)
    named(formula, by)
    formula.save(update_fields=["updated_at"])


def _keep_as_lye(version: FormulaVersion, rows: Sequence[FormulaLine], *, by: By) -> None:
    """A blend that takes in alkali makes stored lye: no soap takes it as a line from then on."""
    product = version.formula.product
    contents = contents_of_version(version, rows)
    alkali = alkali_in(loaded_from(version, rows, contents=contents).blend)
    if alkali and not product.alkali:
        keep_as_lye(product.pk, alkali, by=by)


def _check_names(code: str, name: str) -> None:
    """The materials that soap makes are named after the formula, and their names must fit."""
    faults = Faults()
    for field, value, most in (("code", code, LONGEST_CODE), ("name", name, LONGEST_NAME)):
        if len(value) > most:
            faults.add("too-long", f"At most {most} characters: bars are named after it.", field)
    faults.raise_if_any(FormulaRefusal)


def _version(formula: Formula, spec: VersionSpec, *, number: int, by: By) -> FormulaVersion:
    return FormulaVersion(
        formula=formula,
        number=number,
        by=by,
        **{
            name: getattr(spec, name)
            for name in VersionSpec.__dataclass_fields__
            if name not in ("lines", "pour")
        },
    )


def _row(version: FormulaVersion, position: int, line: LineSpec) -> FormulaLine:
    return FormulaLine(
        version=version,
        position=position,
        material=line.material,
        basis=line.basis.value,
        stage=line.stage.value,
        amount=line.amount,
        counts_as_water=line.counts_as_water,
        strained=line.strained,
        portion=line.portion,
    )
