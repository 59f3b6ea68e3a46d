"""Batches as answers: the row, its lines and lots, what it holds, and its shelf check."""

from collections.abc import Iterable
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.api.answers import (
    CautionSerializer,
    LotAmountSerializer,
    SafetySerializer,
    ShelfLineSerializer,
    shown_safety,
)
from recipes.api.targets import TargetAnswerSerializer, shown_target
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.bench.judgements import Judgement
from recipes.services.bench.shelf import BatchShelf, BatchShelfLine
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShownShareField
from studio.web.serializer_fields.quantities import StockAmountField


class BatchLineSerializer(AnswerSerializer):
    """One thing to weigh or count: as planned, and as really used once it is poured."""

    shows = BatchLine
    says = (
        *("position", "part", "material.code as material", "material.name", "stage", "portion"),
        *("planned", "actual"),
    )
    counted = "material.counted"


class MadeLotSerializer(StrictSerializer):
    """A lot that the batch made; a blocked one says why."""

    code = serializers.CharField(read_only=True)
    state = serializers.CharField(read_only=True)
    state_reason = serializers.CharField(read_only=True)


class BatchLotSerializer(StrictSerializer):
    """So much of a lot, for a material."""

    material = serializers.CharField(source="lot.material.code", read_only=True)
    lot = serializers.CharField(source="lot.code", read_only=True)
    amount = StockAmountField(counted="lot.material.counted")


class BatchSerializer(AnswerSerializer):
    """A batch with its lines and lots. `target` is what was asked for."""

    shows = Batch
    says = (
        *("code", "version.formula.code as formula", "version.number as version"),
        *("mold.code as mold", "state", "planned_on", "planned_for.code as planned_for", "target"),
        *("fats", "batter", "bars_planned", "superfat", "superfat_worst", "superfat_poured"),
        *("lye_concentration", "lines", "poured_lot", "bar_lot", "held_until", "poured_on"),
        *("cut_on", "cure_ready_on", "cured_on", "bars_good", "bars_rejected"),
        *("bars_rejected_abnormal", "minutes", "mix_minutes", "cut_minutes", "wrap_minutes"),
        *("note", "revision", "by.username as by", "poured_by.username as poured_by"),
        *("cured_by.username as cured_by", "changed_by.username as changed_by"),
    )
    target = serializers.SerializerMethodField()
    superfat = ShownShareField(allow_null=True)
    superfat_worst = ShownShareField(allow_null=True)
    superfat_poured = ShownShareField(allow_null=True)
    lye_concentration = ShownShareField(allow_null=True)
    poured_lot = MadeLotSerializer(allow_null=True)
    bar_lot = MadeLotSerializer(allow_null=True)
    held_until = serializers.DateField(source="reservation.expires_on", allow_null=True)

    def get_target(self, batch: Batch) -> TargetAnswerSerializer:
        return TargetAnswerSerializer(shown_target(batch.target)).data  # type: ignore[return-value]


class HeldBatchSerializer(StrictSerializer):
    """A batch after a step, the lots it holds or took, and its safety with their own values.

    Safety is null for a blend. An unsafe pour is recorded, and its lot blocked.
    """

    batch = BatchSerializer()
    lots = BatchLotSerializer(many=True)
    safety = SafetySerializer(allow_null=True)
    cautions = CautionSerializer(many=True)


class BatchShelfLineSerializer(ShelfLineSerializer):
    """One material that the batch still needs; `short` is what neither is held nor available."""

    shows = BatchShelfLine
    says = (
        *("material.code as material", "material.name", "needed", "shelf.available"),
        *("shelf.short", "shelf.covered_on", "picks", "held"),
    )

    @extend_schema_field(LotAmountSerializer(many=True))
    def get_picks(self, line: BatchShelfLine) -> Any:  # type: ignore[override]
        return super().get_picks(line.shelf)


class BatchShelfSerializer(AnswerSerializer):
    """The shelf check of a batch for the day `on`."""

    shows = BatchShelf
    says = ("on", "covered", "lines")


class JudgementSerializer(AnswerSerializer):
    """What was judged of a batch when something that it rests on changed: of what, how, and what
    follows. The last one `stands`; where it is not safe, its soap is held, or not poured yet.
    """

    shows = Judgement
    says = (
        *("subject", "name", "changed", "is_safe", "words", "superfat", "stands", "at"),
        "by.username as by",
    )
    superfat = ShownShareField(allow_null=True)


class JudgedSerializer(StrictSerializer):
    """All that was judged of a batch again, the newest first."""

    judged = JudgementSerializer(many=True)


def shown_held(
    batch: Batch,
    lots: Iterable[tuple[Any, int]],
    safety: SafetyCheck | None,
    cautions: Iterable[Any],
) -> dict[str, Any]:
    """A batch after a step as `HeldBatchSerializer` reads it."""
    materials = {row.material_id: row.material for row in batch.lines.all()}
    shown = []
    for lot, amount in lots:
        lot.material = materials.get(lot.material_id) or lot.material
        shown.append({"lot": lot, "amount": amount})
    return {
        "batch": batch,
        "lots": shown,
        "safety": None if safety is None else shown_safety(safety),
        "cautions": cautions,
    }
