"""Formulas and their versions: written once, frozen when a batch uses them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max

from inventory.domain.materials import MaterialKind
from inventory.services.made_here import ensure_made_material
from recipes.domain.blends import check_blend
from recipes.domain.formula import Basis, Stage
from recipes.domain.formula_check import check_formula
from recipes.errors import FormulaRefusal
from recipes.models import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas import loaded_from
from studio.errors import Faults

__all__ = [
    "FormulaKind",
    "LineSpec",
    "VersionSpec",
    "add_formula",
    "add_version",
    "rewrite_version",
]

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from inventory.models import Material


#: Of a soap formula, so that "<code>-batter" and "<name>, poured" fit their columns.
LONGEST_CODE, LONGEST_NAME = 33, 112
#: 1 kg in ng: no scale that makes soap is coarser.
COARSEST = 10**12
_COOLEST, _HOTTEST = Decimal(5), Decimal(90)
#: What a version calls the settings of its lye, and of a blend.
_NAMES = {
    "naoh_purity": "naoh",
    "koh_purity": "koh",
    "masterbatch_strength": "masterbatch",
    "loss_share": "pot_loss_share",
}
_LINE_NAMES = {"ingredient": "material", "share": "amount"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpec:
    """One line as it is written: the material, how much by which basis, and when it goes in."""

    material: "Material"
    basis: Basis
    amount: Decimal
    stage: Stage = Stage.FATS
    counts_as_water: bool = False
    portion: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionSpec:
    """A version as it is written. Shares are fractions of 1, `resolution` is in nanograms."""

    lines: Sequence[LineSpec]
    naoh: "Material | None" = None
    koh: "Material | None" = None
    masterbatch: "Material | None" = None
    water: "Material | None" = None
    koh_share: Decimal = Decimal(0)
    superfat: Decimal = Decimal(0)
    lye_concentration: Decimal | None = None
    pour_temperature_c: Decimal = Decimal(40)
    pot_loss_share: Decimal = Decimal(0)
    cure_loss_share: Decimal = Decimal(0)
    cure_days: int = 0
    weekly_loss_limit: Decimal = Decimal("0.01")
    rinse_share: Decimal | None = None
    resolution: int = 10**9
    minutes: int = 0
    note: str = ""


@transaction.atomic
def add_formula(
    *,
    code: str,
    name: str,
    kind: FormulaKind = FormulaKind.SOAP,
    note: str = "",
    product: "Material | None" = None,
) -> Formula:
    """A new formula, with the materials that stand for what it makes.

    Soap makes bars "<code>-bar" out of poured soap "<code>-batter"; a blend makes the
    intermediate `product`, or one with the formula's own code. Raises MaterialRefusal.
    """
    if kind == FormulaKind.SOAP:
        _check_names(code, name)
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
        return Formula.objects.create(
            code=code, name=name, kind=kind, product=bar, batter=batter, note=note
        )
    made = product or ensure_made_material(code=code, name=name, kind=MaterialKind.INTERMEDIATE)
    if made.kind != MaterialKind.INTERMEDIATE.value:
        raise FormulaRefusal(
            f"A blend makes an intermediate; {made.name} is a {made.kind}.", field="product"
        )
    return Formula.objects.create(code=code, name=name, kind=kind, product=made, note=note)


@transaction.atomic
def add_version(formula: Formula, spec: VersionSpec, *, by: "User | None" = None) -> FormulaVersion:
    """The next version of a formula. Raises FormulaRefusal with every fault of lines and lye."""
    formula = Formula.objects.select_for_update().get(pk=formula.pk)
    last = formula.versions.aggregate(last=Max("number"))["last"] or 0
    version = _version(formula, spec, number=last + 1, by=by)
    rows = [_row(version, position, line) for position, line in enumerate(spec.lines)]
    _check(version, rows)
    version.save()
    FormulaLine.objects.bulk_create(rows)
    return version


@transaction.atomic
def rewrite_version(
    version: FormulaVersion, spec: VersionSpec, *, by: "User | None" = None
) -> FormulaVersion:
    """Replace a version that no batch has used yet. Raises FormulaRefusal, also when frozen."""
    locked = FormulaVersion.objects.select_for_update().get(pk=version.pk)
    if locked.frozen_at is not None:
        raise FormulaRefusal(
            f"Version {locked.number} is frozen, since a batch used it; write a new version.",
            field="version",
        )
    changed = _version(version.formula, spec, number=locked.number, by=by)
    changed.pk, changed.created_at = locked.pk, locked.created_at
    rows = [_row(changed, position, line) for position, line in enumerate(spec.lines)]
    _check(changed, rows)
    changed.save(force_update=True)
    locked.lines.all().delete()
    FormulaLine.objects.bulk_create(rows)
    return changed


def _check_names(code: str, name: str) -> None:
    """The materials that soap makes are named after the formula, and their names must fit."""
    faults = Faults()
    for field, value, most in (("code", code, LONGEST_CODE), ("name", name, LONGEST_NAME)):
        if len(value) > most:
            faults.add("too-long", f"At most {most} characters: bars are named after it.", field)
    faults.raise_if_any(FormulaRefusal)


def _version(
    formula: Formula, spec: VersionSpec, *, number: int, by: "User | None"
) -> FormulaVersion:
    return FormulaVersion(
        formula=formula,
        number=number,
        by=by,
        **{
            name: getattr(spec, name)
            for name in VersionSpec.__dataclass_fields__
            if name != "lines"
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
        portion=line.portion,
    )


def _check(version: FormulaVersion, rows: Sequence[FormulaLine]) -> None:
    """All that is wrong with the lines and the lye, at once."""
    faults = Faults()
    if not rows:
        faults.add("no-lines", "A recipe needs at least one line.", "lines")
    _check_places(rows, faults)
    loaded = loaded_from(version, rows)
    if loaded.soap is None:
        _check_blend(rows, faults)
        try:
            check_blend(loaded.blend, loss_share=version.pot_loss_share)
        except FormulaRefusal as refusal:
            _take(refusal, faults)
    else:
        _check_alkali(version, faults)
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
    if not 0 < version.weekly_loss_limit < 1:
        faults.add("outside-range", "A share above 0 and below 1.", "weekly_loss_limit")
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
    packed = {row.material_id for row in rows if row.stage == Stage.PACK.value}
    for row in rows:
        if row.stage != Stage.PACK.value and row.material_id in packed:
            faults.add(
                "packed-and-poured",
                f"{row.material.name} is packed after the cure, so it cannot also be poured.",
                f"lines.{row.position}.stage",
            )


def _check_blend(rows: Sequence[FormulaLine], faults: Faults) -> None:
    for row in rows:
        if row.basis != Basis.OF_BATTER.value:
            faults.add(
                "blend-basis",
                f"{row.material.name}: in a blend every line is a share of the whole, "
                f"'{Basis.OF_BATTER.value}'.",
                f"lines.{row.position}.basis",
            )


def _check_alkali(version: FormulaVersion, faults: Faults) -> None:
    """The alkali that the lye needs must be named, and be what it is taken for."""
    if version.koh_share < 1 and version.naoh is None and version.masterbatch is None:
        faults.add("alkali-missing", "Name the NaOH, or a masterbatch lye of it.", "naoh")
    if version.koh_share > 0 and version.koh is None:
        faults.add("alkali-missing", "Name the KOH that the recipe shares in.", "koh")
    if version.water is None:
        faults.add("water-missing", "Name the water of the lye.", "water")
    if version.lye_concentration is None:
        faults.add("concentration-missing", "Give the lye concentration.", "lye_concentration")
    for name, alkali in (("naoh", "NaOH"), ("koh", "KOH"), ("masterbatch", "NaOH")):
        material = getattr(version, name)
        if material is not None and material.alkali != alkali:
            faults.add("not-that-alkali", f"{material.name} is not kept as {alkali} here.", name)
    if version.masterbatch is not None and version.masterbatch.purity is None:
        faults.add(
            "strength-missing",
            f"Enter how much of {version.masterbatch.name} is pure NaOH, by mass.",
            "masterbatch",
        )
