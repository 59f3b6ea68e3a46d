"""Molds and scaling from what is given: nothing is read or stored."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from inventory.domain.catalog.alkalis import alkali_named, carbonate_as_naoh
from inventory.domain.catalog.materials import MaterialKind
from recipes.api.fields import BarsCount, LineAmountField, TemperatureField
from recipes.api.molds.molds import ShapeSerializer, fill_volume_of
from recipes.api.scaling.compute_lye import (
    AlkaliSerializer,
    alkali_of,
    renamed,
)
from recipes.api.scaling.plan_answers import ScaledSerializer, shown_scaled
from recipes.api.targets import SizeSerializer, wish_of
from recipes.api.version_fields import (
    FormulaLineSerializer,
    PortionSerializer,
    pour_in,
)
from recipes.domain.bench.pours import Pour
from recipes.domain.chemistry.safety import recheck
from recipes.domain.formulas.formula import (
    MOST_PORTIONS,
    ZERO,
    Basis,
    Formula,
    Ingredient,
    Line,
    Stage,
)
from recipes.domain.formulas.scaled import BarsTarget
from recipes.domain.molds.molds import bars
from recipes.domain.molds.shapes import full_volume_nl
from recipes.domain.scaling.scaling import scale
from recipes.errors import RecipeRefusal, ScalingRefusal
from recipes.models.molds.molds import Mold
from recipes.queries.molds.molds import cut_of
from recipes.queries.scaling.plans import Wish, scaling_target
from recipes.services.formulas.version_check import MOST_LINES
from recipes.services.molds.molds import check_mold
from studio.foundation.errors import InvalidInput
from studio.foundation.units.registry import NG_PER_G
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.serializer_fields.numbers import DecimalTextField, ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

#: As the chemistry calls an ingredient's values -> as a request does.
INGREDIENT_NAMES = {
    "sv_mg_koh_g": "sv",
    "piece_mass_ng": "piece_mass",
    "ifra_category9_max_share": "ifra_category9_max",
    "density_temperature_c": "density_temperature",
}


class MoldVolumeSerializer(StrictSerializer):
    """What a mold holds: to the rim and to the fill height, and the bars that it makes."""

    full_volume = BaseQuantityField(unit="mL", read_only=True)
    fill_volume = BaseQuantityField(unit="mL", read_only=True)
    bars = BarsCount(read_only=True)


class MoldVolumeView(ComputeView):
    """The volume of a mold from its shape and sizes."""

    given_serializer = ShapeSerializer
    answer_serializer = MoldVolumeSerializer

    def compute(self, given: Any) -> dict[str, int]:
        mold = Mold(**given)
        check_mold(mold)
        cut = cut_of(mold)
        return {
            "full_volume": full_volume_nl(cut.mold),
            "fill_volume": fill_volume_of(cut),
            "bars": bars(cut),
        }


class IngredientSerializer(StrictSerializer):
    """What the chemistry has to know of a material; `sv` in mg KOH per g, shares of its mass."""

    name = serializers.CharField(max_length=120)
    kind = serializers.ChoiceField(choices=[kind.value for kind in MaterialKind])
    counted = serializers.BooleanField(default=False)
    sv = DecimalTextField(places=3, required=False)
    sv_low = DecimalTextField(places=3, required=False)
    sv_high = DecimalTextField(places=3, required=False)
    iodine_value = DecimalTextField(places=3, min_value=Decimal(0), required=False)
    fatty_acids = serializers.DictField(child=ShareField(), required=False)
    water_share = ShareField(default=Decimal(0))
    fat_share = ShareField(default=Decimal(0))
    acid_naoh_g_per_g = DecimalTextField(places=6, required=False)
    density_g_ml = DecimalTextField(places=6, required=False)
    density_temperature = TemperatureField(required=False)
    piece_mass = BaseQuantityField(unit="g", required=False)
    ifra_category9_max = ShareField(required=False)

    def validate_fatty_acids(self, value: dict[str, Decimal]) -> dict[str, Decimal]:
        if sum(value.values(), ZERO) > 1:
            raise serializers.ValidationError("Together they are at most 100 %.", "over-whole")
        return value


class InlineLineSerializer(FormulaLineSerializer):
    """One line with the values of its material."""

    material = IngredientSerializer()  # type: ignore[assignment]
    amount = LineAmountField()


class InlineTargetSerializer(SizeSerializer):
    """One of: a mold by its sizes, fats, batter, volume, or bars with their poured weight."""

    mold = ShapeSerializer(required=False)


class ScaleInlineSerializer(AlkaliSerializer):
    """A whole formula with its materials' values, and what to scale it to."""

    lines = InlineLineSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]
    target = InlineTargetSerializer()
    pour_temperature = TemperatureField(default=Decimal(40))
    pot_loss_share = ShareField(default=Decimal(0))
    cure_loss_share = ShareField(default=Decimal(0))
    resolution = BaseQuantityField(unit="g", default=NG_PER_G)
    portions = PortionSerializer(many=True, required=False, max_length=MOST_PORTIONS)  # type: ignore[call-arg]


class ScaleView(ComputeView):
    """Scale a formula that is given whole: weights, lye, safety figures and the fats' profile.

    Lye burns: heed the cautions of the answer.
    """

    given_serializer = ScaleInlineSerializer
    answer_serializer = ScaledSerializer

    def compute(self, given: Any) -> dict[str, Any]:
        target, count = scaling_target(_wish(given["target"]))
        try:
            scaled = scale(
                _formula(given),
                target,
                pour_temperature_c=given["pour_temperature"],
                resolution=given["resolution"],
                bars=target.bars if isinstance(target, BarsTarget) else count,
            )
            safety = recheck(scaled)
        except RecipeRefusal as refusal:
            raise _as_written(refusal) from refusal
        return shown_scaled(scaled, safety)


def _wish(given: Mapping[str, Any]) -> Wish:
    sizes = {name: value for name, value in given.items() if name != "mold"}
    if "mold" not in given:
        return wish_of(sizes)
    if others := [name for name in sizes if name != "bars"]:
        raise ScalingRefusal("Give the mold or another target.", field=f"target.{others[0]}")
    mold = Mold(**given["mold"])
    try:
        check_mold(mold)
    except InvalidInput as refusal:
        raise refusal.under("target.mold") from refusal
    return Wish(mold=mold, bars=given.get("bars", 0))


def _formula(given: Mapping[str, Any]) -> Formula:
    pour = pour_in(given)
    # Lines of one name are one material: its certified maximum is for all of them together.
    names = [line["material"]["name"].strip().casefold() for line in given["lines"]]
    return Formula(
        lines=tuple(
            _line(names.index(name), line, pour)
            for name, line in zip(names, given["lines"], strict=True)
        ),
        alkali=alkali_of(given),
        cure_loss_share=given["cure_loss_share"],
        pot_loss_share=given["pot_loss_share"],
        portions=pour.portions,
    )


def _line(material_at: int, line: Mapping[str, Any], pour: Pour) -> Line:
    material = line["material"]
    return Line(
        ingredient=Ingredient(
            code=f"line-{material_at}",
            name=material["name"],
            kind=MaterialKind(material["kind"]),
            counted=material["counted"],
            sv_mg_koh_g=material.get("sv"),
            sv_low=material.get("sv_low"),
            sv_high=material.get("sv_high"),
            iodine_value=material.get("iodine_value"),
            fatty_acids=material.get("fatty_acids", {}),
            water_share=material["water_share"],
            fat_share=material["fat_share"],
            acid_naoh_g_per_g=material.get("acid_naoh_g_per_g"),
            density_g_ml=material.get("density_g_ml"),
            density_temperature_c=material.get("density_temperature"),
            piece_mass_ng=material.get("piece_mass"),
            ifra_category9_max_share=material.get("ifra_category9_max"),
            alkali=alkali_named(material["name"], MaterialKind(material["kind"])),
            carbonate_naoh_g_per_g=carbonate_as_naoh(material["name"]),
        ),
        basis=Basis(line["basis"]),
        stage=Stage(line["stage"]),
        amount=line["amount"],
        counts_as_water=line["counts_as_water"],
        portion=line["portion"] or None,
        portion_share=pour.share_of(line["portion"]),
    )


def _as_written(refusal: RecipeRefusal) -> RecipeRefusal:
    names = {}
    for fault in refusal.faults:
        parts = fault.field.split(".")
        if len(parts) == 4 and parts[0] == "lines" and parts[2] == "ingredient":
            inside = INGREDIENT_NAMES.get(parts[3], parts[3])
            names[fault.field] = f"lines.{parts[1]}.material.{inside}"
    return renamed(refusal, {**names, "pour_temperature_c": "pour_temperature"})  # type: ignore[return-value]
