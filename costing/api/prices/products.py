"""Products, and the tiers they are sold to: the steps of the price ladder."""

from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request

from costing.api.rows import LOOK, SET, DescribedRowViewSet, described_by
from costing.models.prices.prices import Product, Tier
from costing.services.prices.products import ProductDescription, save_product
from costing.services.prices.tiers import TierDescription, save_tier, start_ladder
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code
from studio.web.api.serializers import STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import master_rules
from studio.web.permissions import Rules
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField, ShareField


class ProductSerializer(StrictModelSerializer[Product]):
    """A recipe's bar, packed in a certain way, that is usually made in a certain mold.

    Without a packaging set what packing costs is not known, unless `needs_no_packing`.
    """

    formula = CodeField()
    mold = CodeField()
    packaging_set = CodeField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)

    class Meta:
        model = Product
        fields = (*described_by(ProductDescription), *STAMPS)
        read_only_fields = STAMPS


class ProductFilter(Filters):
    """Products."""

    formula = by_code("formula")
    active = YesNoFilter()


class ProductViewSet(DescribedRowViewSet):
    """What is sold."""

    queryset = Product.objects.select_related("formula", "mold", "packaging_set").order_by("code")
    serializer_class = ProductSerializer
    filterset_class = ProductFilter
    describe = ProductDescription
    save = save_product


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
        fields = (*described_by(TierDescription), *STAMPS)
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


class TierViewSet(DescribedRowViewSet):
    """The steps of the price ladder, highest prices first."""

    queryset = Tier.objects.order_by("code")
    serializer_class = TierSerializer
    filterset_class = TierFilter
    rules: ClassVar[Rules] = master_rules(SET, look=LOOK)
    describe = TierDescription

    @staticmethod
    def save(described: TierDescription, **kept: Any) -> Tier:
        """Keep a tier whose lists of today stay as they should be."""
        return save_tier(described, on=timezone.localdate(), **kept)

    @verb(SET, answer=StartedLadderSerializer, status=201, detail=False)
    def start_ladder(self, request: Request) -> Any:
        """Keep a first ladder of direct, wholesale and distributor, to be changed at will."""
        return {"tiers": start_ladder(by=caller(request))}
