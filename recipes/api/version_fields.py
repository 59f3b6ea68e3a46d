"""A version as it is written and shown."""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from rest_framework import serializers

from recipes.api.fields import AcceptWorstField, LineAmountField, TemperatureField
from recipes.domain.bench.pours import MOST_LAYERS, Layer, Place, Pour
from recipes.domain.cure.drying import LONGEST_DAYS
from recipes.domain.formulas.amount_words import SHARES
from recipes.domain.formulas.formula import LONGEST_NAME, MOST_PORTIONS, Basis, Portion, Stage
from recipes.errors import FormulaRefusal
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.formulas.version_check import (
    LEAST_WEEKLY_LOSS,
    MOST_LINES,
    MOST_MINUTES,
    MOST_WEEKLY_LOSS,
)
from studio.foundation.errors import Faults
from studio.foundation.units.registry import NG_PER_G
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShareField, ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

ALKALIS = ("naoh", "koh", "masterbatch", "water")
BASES = [(basis.value, basis.value) for basis in Basis]


class MaterialCode(serializers.SlugField):
    """A material, by its code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=40, **kwargs)

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "code", value))


class FormulaLineSerializer(StrictSerializer):
    """One line. `amount` is read by `basis`: a fraction of 1 where it is a share, else g or pieces.

    `piece-per-fats` gives the grams of fats for each piece.
    """

    material = MaterialCode()
    basis = serializers.ChoiceField(choices=BASES)
    amount = LineAmountField()
    stage = serializers.ChoiceField(
        choices=[stage.value for stage in Stage], default=Stage.FATS.value
    )
    counts_as_water = serializers.BooleanField(default=False)
    strained = serializers.BooleanField(
        default=False, help_text="Of a blend: taken out again, so it gives only its name."
    )
    portion = serializers.CharField(max_length=40, allow_blank=True, default="")

    def to_internal_value(self, data: Any) -> Any:
        value = super().to_internal_value(data)
        percent = isinstance(data["amount"], str) and data["amount"].rstrip().endswith("%")
        if percent and Basis(value["basis"]) not in SHARES:
            raise serializers.ValidationError(
                {"amount": ["This basis takes grams or pieces, not a percent."]}, "not-a-share"
            )
        return value


class PortionSerializer(StrictSerializer):
    """A named part of the batter; the shares of all portions are 1 together."""

    name = serializers.CharField(max_length=LONGEST_NAME)
    share = ShareField()


class LayerSerializer(StrictSerializer):
    """One pour: so much of a portion, across the mold or against one third of its width."""

    portion = serializers.CharField(max_length=LONGEST_NAME)
    share = ShareField()
    place = serializers.ChoiceField(
        choices=[place.value for place in Place], default=Place.ACROSS.value
    )
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class AcceptedWorstSerializer(AnswerSerializer):
    """How low a superfat was accepted at its worst; withdrawn once the version is written anew."""

    shows = AcceptedWorst
    says = ("worst", "at", "by.username as by", "withdrawn_at")
    worst = ShownShareField()


class AcceptWorstSerializer(StrictSerializer):
    """The figure that is accepted. Left out, the refusal tells what there is to accept."""

    accept_worst = AcceptWorstField()


class VersionSerializer(StrictSerializer):
    """A version of a formula. Shares are fractions of 1; `resolution` is the step that
    is weighed to where the studio keeps no scale.
    """

    number = serializers.IntegerField(read_only=True)
    frozen_at = serializers.DateTimeField(read_only=True, allow_null=True)
    created_at = serializers.DateTimeField(read_only=True)
    is_current = serializers.BooleanField(
        read_only=True,
        help_text="Made and sold where no version is named; others are trials, or were current.",
    )
    accepted_worst = AcceptedWorstSerializer(
        many=True,
        read_only=True,
        help_text="How low a superfat was accepted at its worst, by whom and when.",
    )
    lines = FormulaLineSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]
    naoh = MaterialCode(required=False, allow_null=True)
    koh = MaterialCode(required=False, allow_null=True)
    masterbatch = MaterialCode(required=False, allow_null=True)
    water = MaterialCode(required=False, allow_null=True)
    koh_share = ShareField(default=Decimal(0))
    superfat = ShareField(required=False, allow_null=True)
    lye_concentration = ShareField(required=False, allow_null=True)
    pour_temperature = TemperatureField(source="pour_temperature_c", default=Decimal(40))
    pot_loss_share = ShareField(default=Decimal(0))
    cure_loss_share = ShareField(default=Decimal(0))
    cure_days = serializers.IntegerField(min_value=0, max_value=LONGEST_DAYS, default=0)
    ready_days = serializers.IntegerField(
        min_value=0,
        max_value=LONGEST_DAYS,
        default=0,
        help_text="Days from the start of a blend until it is poured, such as steeping.",
    )
    weekly_loss_limit = ShareField(
        min_value=LEAST_WEEKLY_LOSS, max_value=MOST_WEEKLY_LOSS, default=Decimal("0.01")
    )
    rinse_share = ShareField(required=False, allow_null=True)
    resolution = BaseQuantityField(unit="g", default=NG_PER_G)
    minutes = serializers.IntegerField(
        min_value=0,
        max_value=MOST_MINUTES,
        default=None,
        allow_null=True,
        help_text="Labor a batch; null: not stated, which is not 0.",
    )
    note = serializers.CharField(max_length=4000, allow_blank=True, default="")
    portions = PortionSerializer(many=True, required=False, max_length=MOST_PORTIONS)  # type: ignore[call-arg]
    layers = LayerSerializer(many=True, required=False, max_length=MOST_LAYERS)  # type: ignore[call-arg]


Find = Callable[[Iterable[str]], Mapping[str, "Material"]]


def spec_of(given: Mapping[str, Any], *, find: Find) -> VersionSpec:
    """What a service is told of a version that was read; `find` gives materials by code.

    Raises FormulaRefusal naming each unknown material.
    """
    named = {name: given[name] for name in ALKALIS if given.get(name)}
    codes = [*named.values(), *(line["material"] for line in given["lines"])]
    known = find(codes)
    faults = Faults()
    for path, code in (
        *named.items(),
        *((f"lines.{i}.material", line["material"]) for i, line in enumerate(given["lines"])),
    ):
        if code not in known:
            faults.add("unknown-material", f"There is no material {code}.", path)
    faults.raise_if_any(FormulaRefusal)
    lines = [_line(line, known) for line in given["lines"]]
    apart = ("lines", "portions", "layers", *ALKALIS)
    settings: dict[str, Any] = {name: value for name, value in given.items() if name not in apart}
    settings |= {name: known[code] for name, code in named.items()}
    return VersionSpec(lines=lines, pour=pour_in(given), **settings)


def pour_in(given: Mapping[str, Any]) -> Pour:
    """The portions and layers that were read."""
    return Pour(
        tuple(Portion(part["name"], part["share"]) for part in given.get("portions", ())),
        tuple(
            Layer(layer["portion"], layer["share"], Place(layer["place"]), layer["note"])
            for layer in given.get("layers", ())
        ),
    )


def _line(line: Mapping[str, Any], known: Mapping[str, "Material"]) -> LineSpec:
    return LineSpec(
        material=known[line["material"]],
        basis=Basis(line["basis"]),
        amount=line["amount"],
        stage=Stage(line["stage"]),
        counts_as_water=line["counts_as_water"],
        strained=line["strained"],
        portion=line["portion"],
    )
