"""Products, and what a bar of one costs."""

from typing import Any, ClassVar

from rest_framework import serializers

from costing.api.rows import STAMPS
from costing.models.prices.prices import Product
from costing.services.prices.products import ProductDescription, save_product
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.permissions import Rules
from studio.web.serializer_fields.named import CodeField

DESCRIBED = ("code", "name", "formula", "mold", "packaging_set", "active", "note")


class ProductSerializer(StrictModelSerializer[Product]):
    """A recipe's bar, packed in a certain way, that is usually made in a certain mold."""

    formula = CodeField()
    mold = CodeField()
    packaging_set = CodeField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)

    class Meta:
        model = Product
        fields = (*DESCRIBED, *STAMPS)
        read_only_fields = STAMPS


class ProductFilter(Filters):
    """Products."""

    formula = by_code("formula")
    active = YesNoFilter()

    class Meta:
        model = Product
        fields = ()


class ProductViewSet(MasterViewSet):
    """What is sold."""

    queryset = Product.objects.select_related("formula", "mold", "packaging_set").order_by("code")
    serializer_class = ProductSerializer
    filterset_class = ProductFilter
    ordering = ("code",)
    rules: ClassVar[Rules] = master_rules((Capability.PRICE, Capability.SEE_COSTS))

    def create_row(self, given: Any, serializer: Any) -> Product:
        return save_product(ProductDescription(**given), by=caller(self.request))

    def change_row(self, row: Product, given: Any, serializer: Any) -> Product:
        kept: dict[str, Any] = {}
        if serializer.partial:
            kept = {name: getattr(row, name) for name in DESCRIBED if name not in given}
            for name in {"formula", "mold", "packaging_set"} & kept.keys():
                kept[name] = kept[name].code if kept[name] else None
        described = ProductDescription(**kept, **given)
        return save_product(described, product_id=row.pk, by=caller(self.request))
