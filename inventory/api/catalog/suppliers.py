"""Suppliers and their offers."""

from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inventory.api.fields import PackField, optional_decimal
from inventory.api.filters import OfferFilter, SupplierFilter
from inventory.domain.catalog.packs import PriceBreak
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.services.catalog.suppliers import OfferDescription, save_offer, save_supplier
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.serializers import STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.viewsets import DescribedViewSet, MasterViewSet, master_rules
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.quantities import StockAmountField

OFFER = (
    "code",
    "supplier",
    "material",
    "supplier_item",
    "pack_written",
    "density_g_ml",
    "density_temperature_c",
    "price",
    "breaks",
    "minimum_packs",
    "lead_time_days",
    "valid_from",
    "valid_until",
    "active",
)


class SupplierSerializer(StrictModelSerializer[Supplier]):
    """Somebody the studio buys from."""

    cost_fields = Supplier.costs

    class Meta:
        model = Supplier
        fields = (*described(Supplier), *STAMPS)
        read_only_fields = STAMPS


class SupplierViewSet(DescribedViewSet):
    """Whom the studio buys from."""

    queryset = Supplier.objects.order_by("code")
    serializer_class = SupplierSerializer
    filterset_class = SupplierFilter
    ordering = ("code",)
    rules: ClassVar = master_rules(Capability.KEEP_STOCK)
    service: ClassVar = save_supplier


class PriceBreakSerializer(StrictSerializer):
    """From so many packs of one order on, each pack costs `price`."""

    from_packs = serializers.IntegerField(min_value=2)
    price = MoneyField()


class OfferSerializer(StrictModelSerializer[Offer]):
    """One pack size at a price; `pack_amount` is the pack in the material's stock unit."""

    cost_fields = ("price", "price_breaks")
    supplier = CodeField()
    material = CodeField()
    pack_written = PackField(help_text='As the supplier writes it: "1 gal", "35 lb", "12 each".')
    pack_amount = StockAmountField(counted="material.counted")
    density_g_ml = optional_decimal(6)
    density_temperature_c = optional_decimal(3)
    price = MoneyField(required=False, help_text="Of one pack.")
    price_breaks = PriceBreakSerializer(many=True, required=False, source="breaks")

    class Meta:
        model = Offer
        fields = (
            *("price_breaks" if name == "breaks" else name for name in OFFER),
            "pack_amount",
            *STAMPS,
        )
        read_only_fields = STAMPS

    def validate(self, given: Any) -> Any:
        """A whole offer has a price; only those who may not see it leave it as it was."""
        if "price" not in given and self.sees_costs() and not self.partial:
            raise ValidationError({"price": [ErrorDetail("Say what a pack costs.", "required")]})
        return given


class OfferViewSet(MasterViewSet):
    """What suppliers offer. A new offer states its price, so it needs the right to see costs."""

    queryset = Offer.objects.select_related("supplier", "material").order_by("code")
    serializer_class = OfferSerializer
    filterset_class = OfferFilter
    ordering = ("code",)
    rules: ClassVar = {
        **master_rules(Capability.KEEP_STOCK),
        "create": (Capability.KEEP_STOCK, Capability.SEE_COSTS),
    }

    def create_row(self, given: Any, serializer: Any) -> Offer:
        return save_offer(OfferDescription(**_typed(given)), by=caller(self.request))

    def change_row(self, row: Offer, given: Any, serializer: Any) -> Offer:
        kept = kept_of(row, OFFER, serializer)
        for name in kept.keys() & {"supplier", "material"}:
            kept[name] = kept[name].code
        if kept.pop("price_breaks", None) is not None:
            kept["breaks"] = row.breaks
        described = OfferDescription(**kept, **_typed(given))
        return save_offer(described, offer_id=row.pk, by=caller(self.request))


def _typed(given: Any) -> dict[str, Any]:
    breaks = [PriceBreak(**each) for each in given.get("breaks", ())]
    return {**given, "breaks": breaks} if "breaks" in given else dict(given)


def kept_of(row: Any, names: tuple[str, ...], serializer: Any) -> dict[str, Any]:
    """What a change leaves as it was: of a partial one all that it does not name; of a whole one
    only the costs that the caller may not set."""
    given = serializer.validated_data
    if not serializer.partial:
        names = () if serializer.sees_costs() else serializer.cost_fields
    return {name: getattr(row, name) for name in names if name not in given}
