"""Lots, the only place where stock stands: where they stand, their certificates, what went in."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import CODE_LENGTH, Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.certified import Certified, certificate_checks
from inventory.models.stock.locations import Location
from studio.foundation.histories import Records
from studio.foundation.model_fields import CodeField, MassField, MoneyField, StockField, said

#: Only a released lot may be reserved or consumed.
LOT_STATES = [(state.value, state.name.capitalize()) for state in LotState]


class Lot(Certified):
    """One received or made lot with its balances.

    `on_hand`, `reserved` (stock units of the material) and `cost` are the fold of the lot's
    entries; only the ledger service changes them. `state` and its reason are what the lot's open
    holds say; only the hold service changes them. What its `certificate` states goes before the
    material's nominal values.
    """

    code = said(CodeField(max_length=CODE_LENGTH, unique=True), "Code")
    material = said(
        models.ForeignKey(Material, on_delete=models.PROTECT, related_name="lots"), "Material"
    )
    supplier = said(
        models.ForeignKey(
            Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="lots"
        ),
        "From",
    )
    supplier_lot = said(models.CharField(max_length=60, blank=True), "Supplier's lot")
    received_on = said(models.DateField(), "Came in")
    best_before = said(models.DateField(null=True, blank=True), "Best before")
    state = said(
        models.CharField(max_length=12, choices=LOT_STATES, default=LotState.RELEASED.value),
        "State",
    )
    state_reason = said(models.CharField(max_length=500, blank=True), "Why")
    note = said(models.TextField(blank=True, max_length=2000), "Note")
    location = said(
        models.ForeignKey(
            Location, on_delete=models.PROTECT, null=True, blank=True, related_name="lots"
        ),
        "Place",
    )
    received_amount = said(StockField(default=0), "Amount at first")
    steam = said(
        MassField(default=0), "Steamed off", meaning="water that left it while it was made"
    )
    on_hand = StockField(default=0)
    reserved = StockField(default=0)
    cost = MoneyField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)

    history = Records(leave_out=("on_hand", "reserved", "cost"))

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(reserved__gte=0, on_hand__gte=F("reserved")),
                name="lot_reserved_within_on_hand",
            ),
            models.CheckConstraint(condition=Q(cost__gte=0), name="lot_cost_not_negative"),
            models.CheckConstraint(condition=Q(steam__gte=0), name="lot_steam_not_negative"),
            models.CheckConstraint(
                condition=Q(on_hand__gt=0) | Q(cost=0), name="lot_empty_has_no_cost"
            ),
            *certificate_checks("lot"),
        ]
        indexes = [
            # The order of use (first expired, first out) over what may be picked.
            models.Index(
                fields=["material", "best_before", "received_on", "id"],
                name="lot_order_of_use",
                condition=Q(state="released", on_hand__gt=F("reserved")),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def own_or_nominal(self, name: str) -> Decimal | None:
        """What is certified of this lot, else the nominal value of its material; None: unknown."""
        own: Decimal | None = getattr(self, name)
        return getattr(self.material, name) if own is None else own
