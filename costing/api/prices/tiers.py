"""Tiers: the steps of the price ladder."""

from typing import Any, ClassVar

from django.utils import timezone
from rest_framework.request import Request

from costing.api.rows import LOOK, SET, STAMPS
from costing.models.prices.prices import Tier
from costing.services.prices.tiers import TierDescription, save_tier, start_ladder
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField

DESCRIBED = (
    "code",
    "name",
    "position",
    "wanted_margin",
    "floor_margin",
    "step",
    "ending",
    "tax_share",
    "tax_included",
    "active",
)


class TierSerializer(StrictModelSerializer[Tier]):
    """Who is sold to at which prices. Margins are of the price without tax, after fees.

    Prices end on `ending` in each `step`: step 1.00 and ending 0.95 give 4.95 and 5.95.
    """

    wanted_margin = ShareField(help_text="What prices are suggested for.")
    floor_margin = ShareField(help_text="Below it nothing is sold without an owner's word.")
    step = MoneyField(required=False, help_text="The smallest coin, if left out.")
    ending = MoneyField(required=False, help_text="Less than the step.")
    tax_share = ShareField(required=False, help_text="The tax of this tier's sales.")

    class Meta:
        model = Tier
        fields = (*DESCRIBED, *STAMPS)
        read_only_fields = STAMPS
        extra_kwargs: ClassVar[dict[str, Any]] = {
            "code": {"validators": []},  # the service refuses a code that is taken
            "tax_included": {"help_text": "Whether its prices are written with tax."},
        }
        validators: ClassVar[list[Any]] = []


class TierFilter(Filters):
    """Tiers."""

    active = YesNoFilter()


class StartedLadderSerializer(StrictSerializer):
    """The tiers to start from."""

    tiers = TierSerializer(many=True, read_only=True)


class TierViewSet(MasterViewSet):
    """The steps of the price ladder, highest prices first."""

    queryset = Tier.objects.order_by("code")
    serializer_class = TierSerializer
    filterset_class = TierFilter
    ordering = ("code",)
    rules: ClassVar[Rules] = master_rules(SET, look=LOOK)

    def create_row(self, given: Any, serializer: Any) -> Tier:
        return save_tier(TierDescription(**given), by=caller(self.request))

    def change_row(self, row: Tier, given: Any, serializer: Any) -> Tier:
        kept = {name: getattr(row, name) for name in DESCRIBED} if serializer.partial else {}
        return save_tier(
            TierDescription(**{**kept, **given}),
            tier_id=row.pk,
            on=timezone.localdate(),
            by=caller(self.request),
        )

    @verb(
        SET,
        answer=StartedLadderSerializer,
        status=201,
        detail=False,
    )
    def start_ladder(self, request: Request) -> Any:
        """Keep a first ladder of direct, wholesale and distributor, to be changed at will."""
        return {"tiers": start_ladder(by=caller(request))}
