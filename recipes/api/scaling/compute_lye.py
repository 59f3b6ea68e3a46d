"""Lye and its density from what is given: nothing is read or stored."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from recipes.api.answers import CautionSerializer
from recipes.api.fields import TemperatureField
from recipes.domain.bench.cautions import cautions_for
from recipes.domain.chemistry.densities import lye_density_g_ml
from recipes.domain.chemistry.lye import acid_factors
from recipes.domain.formulas.formula import ONE, Alkali
from recipes.domain.scaling.lye_alone import AcidMass, FatMass, LyeAlone, lye_alone
from recipes.errors import OutsideTable, RecipeRefusal
from recipes.services.formulas.version_check import MOST_LINES
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.units.registry import NG_PER_G
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.serializer_fields.numbers import DecimalTextField, ShareField, ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

MIDDLE_PLACES = Decimal("0.001")


def saponification_value(**kwargs: Any) -> DecimalTextField:
    """mg KOH per g (ISO 3657)."""
    return DecimalTextField(places=3, required=False, **kwargs)


class AlkaliSerializer(StrictSerializer):
    """How the lye is set. Shares are fractions of 1; purities count as 1 until told."""

    superfat = ShareField()
    lye_concentration = ShareField()
    koh_share = ShareField(default=Decimal(0))
    naoh_purity = ShareField(default=ONE)
    koh_purity = ShareField(default=ONE)
    masterbatch_strength = ShareField(required=False)


class FatSerializer(StrictSerializer):
    """A fat: its mass and its saponification value, or the range of it (then the middle counts)."""

    name = serializers.CharField(max_length=120, required=False)
    mass = BaseQuantityField(unit="g")
    sv = saponification_value()
    sv_low = saponification_value()
    sv_high = saponification_value()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        has_range = "sv_low" in attrs and "sv_high" in attrs
        if ("sv_low" in attrs) != ("sv_high" in attrs) or not ("sv" in attrs or has_range):
            raise InvalidInput(
                "Give the saponification value, or both ends of its range.", field="sv"
            )
        if "sv" not in attrs:
            attrs["sv"] = ((attrs["sv_low"] + attrs["sv_high"]) / 2).quantize(MIDDLE_PLACES)
        return attrs


class AcidSerializer(StrictSerializer):
    """An acid by name, or by how many g of NaOH one g of it takes."""

    mass = BaseQuantityField(unit="g")
    acid = serializers.ChoiceField(choices=sorted(acid_factors()), required=False)
    naoh_g_per_g = DecimalTextField(places=6, min_value=Decimal(0), required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("acid" in attrs) == ("naoh_g_per_g" in attrs):
            raise InvalidInput(
                "Give the acid by name or its NaOH per g, one of both.", field="acid"
            )
        return attrs


class LyeRequestSerializer(AlkaliSerializer):
    """Fats and acids, and how the lye is set for them."""

    fats = FatSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]
    acids = AcidSerializer(many=True, required=False, max_length=MOST_LINES)  # type: ignore[call-arg]
    resolution = BaseQuantityField(unit="g", default=NG_PER_G)


class LyeAnswerSerializer(AnswerSerializer):
    """The lye to weigh, the superfat that results, and the cautions.

    `superfat_worst` is with each fat at the low end of its range, `superfat_best` at the high end.
    """

    shows = LyeAlone
    says = (
        *("plan.weights.naoh_ng", "plan.weights.koh_ng", "plan.weights.masterbatch_ng"),
        *("plan.extra_water_ng", "plan.water_ng", "plan.total_ng as lye", "concentration"),
        *("superfat", "superfat_worst", "superfat_best", "notices"),
    )
    concentration = ShownShareField(source="plan.concentration")
    cautions = serializers.SerializerMethodField()

    def get_cautions(self, result: LyeAlone) -> CautionSerializer:
        stored = bool(result.plan.weights.masterbatch_ng)
        return CautionSerializer(  # type: ignore[return-value]
            cautions_for(masterbatch=stored), many=True
        ).data


class LyeView(ComputeView):
    """Alkali and water for fats and acids. Lye burns: heed the cautions of the answer."""

    given_serializer = LyeRequestSerializer
    answer_serializer = LyeAnswerSerializer

    def compute(self, given: Any) -> LyeAlone:
        fats = [
            FatMass(
                mass_ng=fat["mass"],
                sv=fat["sv"],
                sv_low=fat.get("sv_low", fat["sv"]),
                sv_high=fat.get("sv_high", fat["sv"]),
            )
            for fat in given["fats"]
        ]
        acids = [
            AcidMass(
                acid["mass"],
                acid["naoh_g_per_g"] if "naoh_g_per_g" in acid else acid_factors()[acid["acid"]],
            )
            for acid in given.get("acids", ())
        ]
        try:
            return lye_alone(fats, acids, alkali_of(given), step_ng=given["resolution"])
        except RecipeRefusal as refusal:
            raise renamed(refusal, {}) from refusal


class DensityRequestSerializer(StrictSerializer):
    """A lye: pure NaOH and pure KOH as shares of its mass, and its temperature."""

    naoh_share = ShareField(default=Decimal(0))
    koh_share = ShareField(default=Decimal(0))
    temperature = TemperatureField()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["naoh_share"] + attrs["koh_share"] > 1:
            raise InvalidInput("Together they are at most 100 % of the lye.", field="koh_share")
        return attrs


class DensityAnswerSerializer(StrictSerializer):
    """Density from the handbooks' tables, interpolated between neighbors."""

    density_g_ml = DecimalTextField(places=6)


class DensityView(ComputeView):
    """Density of a lye by concentration and temperature; nothing is extrapolated."""

    given_serializer = DensityRequestSerializer
    answer_serializer = DensityAnswerSerializer

    def compute(self, given: Any) -> dict[str, Decimal]:
        try:
            density = lye_density_g_ml(
                naoh_share=given["naoh_share"],
                koh_share=given["koh_share"],
                temperature_c=given["temperature"],
            )
        except OutsideTable as refusal:
            share = "koh_share" if given["koh_share"] else "naoh_share"
            names = {"pour_temperature_c": "temperature", "lye_concentration": share}
            raise renamed(refusal, names) from refusal
        return {"density_g_ml": density}


def alkali_of(given: Any) -> Alkali:
    """How the lye is set, from what was read by an `AlkaliSerializer`."""
    return Alkali(
        superfat=given["superfat"],
        lye_concentration=given["lye_concentration"],
        koh_share=given["koh_share"],
        naoh_purity=given["naoh_purity"],
        koh_purity=given["koh_purity"],
        masterbatch_strength=given.get("masterbatch_strength"),
    )


def renamed(refusal: Refusal, names: dict[str, str]) -> Refusal:
    """The same refusal with the fields called as in the request."""
    faults = Faults()
    for fault in refusal.faults:
        field = fault.field.removeprefix("alkali.")
        faults.add(fault.code, fault.message, names.get(field, field), **fault.details)
    return type(refusal)(faults=faults.found)
