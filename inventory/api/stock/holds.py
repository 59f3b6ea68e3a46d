"""The holds of a lot in JSON, and what people say when they hold, release or decide."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.domain.stock.holds import (
    DECIDED,
    HELD_BY_HAND,
    LONGEST_SAID,
    MOST_FREE_ALKALI,
    Cause,
    Outcome,
    way_out,
)
from inventory.models.stock.holds import Hold
from studio.foundation.units.writing import percent
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.serializer_fields.numbers import ShareField


class LotHoldSerializer(StrictModelSerializer[Hold]):
    """Why a lot may not be used, since when, who said so, and what lifts it or has lifted it.

    The lot's `state` is what its open holds say.
    """

    by = serializers.CharField(source="by.username", read_only=True, default=None)
    lifted_by = serializers.CharField(source="lifted_by.username", read_only=True, default=None)
    open = serializers.BooleanField(read_only=True)
    free_once = serializers.SerializerMethodField(help_text="What lifts it; null once lifted.")
    free_alkali = ShareField(
        read_only=True,
        allow_null=True,
        help_text="Free caustic alkali as measured by ISO 456, as NaOH, a share of the mass.",
    )

    class Meta:
        model = Hold
        fields = (
            "cause", "reference", "reason", "until", "on", "at", "by", "open", "free_once",
            "lifted_on", "lifted_at", "lifted_by", "lifted_reason", "outcome", "free_alkali",
            "measured_on",
        )  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.CharField(allow_null=True))
    def get_free_once(self, held: Hold) -> str | None:
        return way_out(Cause(held.cause), held.reference) if held.open else None


class _Dated(StrictSerializer):
    on = serializers.DateField(required=False, help_text="Today, if left out.")


class LotReasonSerializer(_Dated):
    """Why, and on which day; needed to block or release, and to end a cure before its day."""

    reason = serializers.CharField(
        max_length=LONGEST_SAID, required=False, allow_blank=True, default=""
    )


class HoldGivenSerializer(LotReasonSerializer):
    """Why a lot is held: by hand, with a reason, or to be checked as on its arrival.

    `with_made_of` holds by hand also what was made of it before, at any depth.
    """

    cause = serializers.ChoiceField(
        sorted(HELD_BY_HAND), required=False, default=Cause.BY_HAND.value
    )
    with_made_of = serializers.BooleanField(required=False, default=False)


class DecisionSerializer(_Dated):
    """What an owner decides of soap that is held as unsafe, and why.

    `free_alkali` and `measured_on` belong to the outcome `measured`; `cause` is needed where a
    lot is held for both causes.
    """

    outcome = serializers.ChoiceField([one.value for one in Outcome])
    reason = serializers.CharField(max_length=LONGEST_SAID)
    cause = serializers.ChoiceField(sorted(DECIDED), required=False)
    free_alkali = ShareField(
        required=False,
        help_text="Free caustic alkali by ISO 456, as NaOH: 0.0004 or 0.04 %; at most "
        f"{percent(MOST_FREE_ALKALI)}.",
    )
    measured_on = serializers.DateField(required=False)


def read_decision(given: Any) -> dict[str, Any]:
    """The values of a `Decision` out of what was read, but for its day."""
    names = ("reason", "free_alkali", "measured_on")
    found = {name: given[name] for name in names if name in given}
    return {"outcome": Outcome(given["outcome"]), **found}
