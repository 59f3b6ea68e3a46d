"""Formulas from their rows, as the rules see them, and a mark that tells whether one changed."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from django.db.models import F

from inventory.domain.catalog.alkalis import alkali_in, carbonate_as_naoh
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.contents import Contents
from inventory.domain.stock.leaves import Span, leaf_of
from recipes.domain.bench.pours import NOT_SPLIT, Layer, Place, Pour
from recipes.domain.chemistry.blends import BlendLine
from recipes.domain.formulas.formula import (
    ONE,
    ZERO,
    Alkali,
    Basis,
    Formula,
    Ingredient,
    Line,
    Portion,
    Purest,
    Stage,
)
from recipes.domain.scales import ONE_GRAM, Scales
from recipes.models.formulas.formulas import Formula as FormulaRow
from recipes.models.formulas.formulas import FormulaLine, FormulaVersion
from recipes.queries.formulas.current import READ_WITH, contents_of_materials
from recipes.queries.scales.scales import KeptScales, kept_scales, scales_for
from studio.foundation.errors import NotFound

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

#: By material id, what is made here consists of.
Made = Mapping[int, Contents]
_NOTHING_MADE: Made = MappingProxyType({})
#: Of a version that is only looked at.
NOT_WEIGHED: KeptScales = ()
#: What is no part of what was written.
_NOT_WRITTEN = frozenset({"id", "frozen_at", "created_at", "by_id"})


@dataclass(frozen=True, slots=True)
class LoadedFormula:
    """A version with its rows and, for soap, the formula as the rules see it (else blend lines).

    `layers` is the pour order as written; `contents` what of its materials is made here consists
    of, by material id; `scales` what it is weighed on.
    """

    version: FormulaVersion
    rows: tuple[FormulaLine, ...]
    soap: Formula | None
    blend: tuple[BlendLine, ...] = ()
    layers: tuple[Layer, ...] = ()
    contents: Made = field(default_factory=dict)
    scales: Scales = ONE_GRAM


def load_formula(*, code: str, number: int | None = None) -> LoadedFormula:
    """A version of a formula (the current one without `number`). Six queries, and two a level of
    what is made here. Raises NotFound.
    """
    version = version_by_number(code, number)
    rows = list(
        version.lines.select_related("material")
        .prefetch_related("material__fatty_acids")
        .order_by("position")
    )
    contents = contents_of_version(version, rows)
    return loaded_from(
        version,
        rows,
        with_fatty_acids=True,
        pour=pour_of(version),
        contents=contents,
        scales=kept_scales(),
    )


def version_by_number(code: str, number: int | None) -> FormulaVersion:
    """A version of a formula with what it is read with, the current one for None. One query.

    Raises NotFound.
    """
    versions = FormulaVersion.objects.select_related(*READ_WITH).filter(formula__code=code)
    if number is None:
        version = versions.filter(formula__current=F("pk")).first()
    else:
        version = versions.filter(number=number).first()
    if version is None:
        named = f"version {number} of {code}" if number is not None else f"recipe {code}"
        raise NotFound(f"There is no {named}.", field="formula")
    return version


def contents_of_version(version: FormulaVersion, rows: Iterable[FormulaLine]) -> Made:
    """What of a version's materials is made here consists of. Two queries a level, else none."""
    return contents_of_materials(
        [*(row.material for row in rows), version.masterbatch, version.water]
    )


def formula_by_code(code: str) -> FormulaRow:
    """The formula with this code. One query. Raises NotFound."""
    try:
        return FormulaRow.objects.get(code=code)
    except FormulaRow.DoesNotExist:
        raise NotFound(f"There is no recipe {code}.", field="formula") from None


def loaded_from(
    version: FormulaVersion,
    rows: Iterable[FormulaLine],
    *,
    with_fatty_acids: bool = False,
    pour: Pour = NOT_SPLIT,
    contents: Made = _NOTHING_MADE,
    scales: KeptScales = NOT_WEIGHED,
) -> LoadedFormula:
    """The same from rows already read (materials selected), with what is made of their materials
    and the scales that are kept, for what is to be planned. No query.
    """
    kept = tuple(rows)
    weighed_on = scales_for(version, scales)
    if version.formula.kind == "blend":
        blend = tuple(
            BlendLine(ingredient_of(row.material, contents), row.amount, row.strained)
            for row in kept
        )
        return LoadedFormula(version, kept, None, blend, contents=contents, scales=weighed_on)
    lines = tuple(_line(row, pour, contents, with_fatty_acids) for row in kept)
    formula = replace(formula_of(version, lines, contents), portions=pour.portions)
    return LoadedFormula(
        version, kept, formula, layers=pour.layers, contents=contents, scales=weighed_on
    )


def pour_of(version: FormulaVersion) -> Pour:
    """The portions and layers of a stored version. Two queries, none where they are prefetched."""
    return Pour(
        tuple(Portion(row.name, row.share) for row in version.portions.all()),
        tuple(
            Layer(row.portion, row.share, Place(row.place), row.note)
            for row in version.layers.all()
        ),
    )


def formula_of(
    version: FormulaVersion, lines: tuple[Line, ...], contents: Made = _NOTHING_MADE
) -> Formula:
    """The domain's formula of a soap version."""
    return Formula(
        lines=lines,
        alkali=alkali_of(version, contents),
        cure_loss_share=version.cure_loss_share,
        pot_loss_share=version.pot_loss_share,
    )


def alkali_of(version: FormulaVersion, contents: Made = _NOTHING_MADE) -> Alkali:
    """How a version sets its lye, with the nominal purities of its alkali materials.

    A stored lye is as strong as its recipe makes it, else as its material says.
    """
    naoh, koh = _purity(version.naoh), _purity(version.koh)
    stored = _strength(version.masterbatch, contents)
    return Alkali(
        superfat=version.superfat or ZERO,
        lye_concentration=version.lye_concentration or ZERO,
        koh_share=version.koh_share,
        naoh_purity=naoh.usual,
        koh_purity=koh.usual,
        masterbatch_strength=None if stored is None else stored.usual,
        purest=Purest(
            naoh=naoh.high, koh=koh.high, masterbatch=None if stored is None else stored.high
        ),
    )


def ingredient_of(
    material: "Material", contents: Made = _NOTHING_MADE, *, with_fatty_acids: bool = False
) -> Ingredient:
    """A material as the chemistry sees it: by what it is made of, where a recipe makes it."""
    if (inside := contents.get(material.pk)) is not None:
        return _made_ingredient(material, inside)
    acids: dict[str, Decimal] = {}
    if with_fatty_acids:
        acids = {share.acid: share.share for share in material.fatty_acids.all()}
    return Ingredient(
        code=material.code,
        name=material.name,
        kind=MaterialKind(material.kind),
        counted=material.counted,
        sv_mg_koh_g=material.sv_mg_koh_g,
        sv_low=material.sv_low_mg_koh_g,
        sv_high=material.sv_high_mg_koh_g,
        iodine_value=material.iodine_value,
        fatty_acids=acids,
        water_share=material.water_share or ZERO,
        fat_share=material.fat_share or ZERO,
        acid_naoh_g_per_g=material.acid_naoh_g_per_g,
        density_g_ml=material.density_g_ml,
        density_temperature_c=material.density_temperature_c,
        piece_mass_ng=material.piece_mass,
        ifra_category9_max_share=material.ifra_category9_max,
        alkali=alkali_in(material),
        carbonate_naoh_g_per_g=carbonate_as_naoh(_names(material)),
    )


def _made_ingredient(material: "Material", inside: Contents) -> Ingredient:
    own = ingredient_of(material)
    known = {} if inside.demand is None else _saponification(inside.demand)
    return replace(
        own,
        **known,
        water_share=inside.water,
        acid_naoh_g_per_g=inside.acid_naoh or None,
        carbonate_naoh_g_per_g=inside.carbonate_naoh,
        # What went in says more than its name does.
        alkali=material.alkali or inside.alkali or own.alkali,
        inside=inside,
    )


def _saponification(demand: Span) -> dict[str, Any]:
    if not demand:  # nothing in it takes alkali
        return dict.fromkeys(("sv_mg_koh_g", "sv_low", "sv_high"))
    return {"sv_mg_koh_g": demand.usual, "sv_low": demand.low, "sv_high": demand.high}


def _names(material: "Material") -> str:
    return f"{material.inci_name}, {material.name}"


def _line(row: FormulaLine, pour: Pour, contents: Made, with_fatty_acids: bool) -> Line:
    in_portion = row.stage == Stage.PORTION.value and bool(row.portion)
    return Line(
        ingredient=ingredient_of(row.material, contents, with_fatty_acids=with_fatty_acids),
        basis=Basis(row.basis),
        stage=Stage(row.stage),
        amount=row.amount,
        counts_as_water=row.counts_as_water,
        portion=row.portion or None,
        portion_share=pour.share_of(row.portion) if in_portion else ONE,
    )


def _purity(alkali: "Material | None") -> Span:
    # Unknown purity counts as pure: that errs to too little alkali, never to too much.
    return Span.exactly(ONE) if alkali is None else leaf_of(alkali).purity or Span.exactly(ONE)


def _strength(stored: "Material | None", contents: Made) -> Span | None:
    if stored is None or (stored.purity is None and stored.pk not in contents):
        return None
    return contents[stored.pk].naoh if stored.pk in contents else leaf_of(stored).purity


def marked(version: FormulaVersion) -> FormulaVersion:
    """The version with its fingerprint as `revision`. Five queries, none where it is prefetched."""
    loaded = loaded_from(version, version.lines.all(), pour=pour_of(version))
    version.revision = fingerprint_of(loaded)  # type: ignore[attr-defined]
    return version


def fingerprint_of(loaded: LoadedFormula) -> str:
    """The same text for the same content of a version, another one after any change. No query."""
    version = loaded.version
    columns = sorted(field.attname for field in FormulaVersion._meta.concrete_fields)
    parts = [f"{name}={getattr(version, name)}" for name in columns if name not in _NOT_WRITTEN]
    parts += [
        f"{row.position} {row.material_id} {row.basis} {row.stage} {row.amount} "
        f"{row.counts_as_water} {row.strained} {row.portion}"
        for row in loaded.rows
    ]
    if loaded.soap is not None:
        parts += [f"{part.name} {part.share}" for part in loaded.soap.portions]
    parts += [f"{one.portion} {one.share} {one.place} {one.note}" for one in loaded.layers]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32]
