"""Lots, the only place where stock stands: where they stand, their certificates, what went in."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from inventory.domain.catalog.allergens import allergens_in_words, read_allergens, written_allergens
from inventory.domain.catalog.certificate import VALUES, Certificate, Value
from inventory.domain.catalog.materials import RANGES
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.lots import LocationKind, LotState
from inventory.models.catalog.materials import (
    CODE_LENGTH,
    Material,
    empty_or_positive,
    share_between,
)
from inventory.models.catalog.suppliers import Supplier
from studio.foundation.doers import DoerField
from studio.foundation.histories import Records
from studio.foundation.model_fields import (
    CodeField,
    FixedPointField,
    MassField,
    MoneyField,
    ShareField,
    StockField,
    rules,
    said,
)
from studio.models import Revised


class Location(Revised):
    """A place in the studio: a shelf, a curing rack, a cold place."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(
        max_length=12, choices=[(kind.value, kind.value) for kind in LocationKind]
    )
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


def _column(value: Value) -> FixedPointField[Decimal | None, Decimal | None]:
    kind = ShareField if value.is_share else FixedPointField
    field = kind(places=value.places, null=True, blank=True)
    label = value.meaning.capitalize() if value.qualifies else value.short or value.label
    return said(field, f"{label}, {value.unit}" if value.unit else label)


class Certified(models.Model):
    """A row with a column for each value of a certificate; together they are its `certificate`."""

    allergens = said(
        models.JSONField(null=True, blank=True, help_text="As certified; none stated where empty."),
        "Allergens",
        write=allergens_in_words,
    )

    class Meta:
        abstract = True

    @property
    def certificate(self) -> Certificate:
        """What is certified of this row."""
        measured: dict[str, Decimal | None] = {name: getattr(self, name) for name in VALUES}
        return Certificate(**measured, allergens=read_allergens(self.allergens))

    @certificate.setter
    def certificate(self, certificate: Certificate) -> None:
        for name in VALUES:
            setattr(self, name, getattr(certificate, name))
        stated = certificate.allergens
        self.allergens = None if stated is None else written_allergens(stated)


for _name, _value in VALUES.items():
    Certified.add_to_class(_name, _column(_value))


def certificate_checks(table: str) -> list[models.CheckConstraint]:
    """What the columns can state of themselves: shares are shares, what is above zero is so."""
    shares = [share_between(name, f"{table}_{name}") for name in VALUES if VALUES[name].is_share]
    positive = [
        empty_or_positive(name, f"{table}_{name}")
        for name, value in VALUES.items()
        if not value.is_share and RANGES[name].low > 0
    ]
    return [*positive, *shares]


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
            *rules(
                lot_reserved_within_on_hand=Q(reserved__gte=0, on_hand__gte=F("reserved")),
                lot_cost_not_negative=Q(cost__gte=0),
                lot_steam_not_negative=Q(steam__gte=0),
                lot_empty_has_no_cost=Q(on_hand__gt=0) | Q(cost=0),
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


class CertificateConfirmation(models.Model):
    """That a lot's certificate really states this value, by whom and when. Another value, or the
    same one of another lot, is asked about anew.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="confirmations")
    code = models.CharField(max_length=40, choices=[(code, code) for code in UNUSUAL])
    value = FixedPointField(places=6)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = rules(one_confirmation_per_value=("lot", "code", "value"))

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.code} {self.value}"


class LotLink(models.Model):
    """`amount` (the parent's stock unit) of `parent` went into `child`, under a document.

    Entries alone do not say this: a batch consumes and produces several lots under one reference
    (fats, poured soap, boxes; poured soap, bars), and not each of them went into each.
    Written in the transaction that produces the child; the amount was consumed by that document.
    What does not `stay` was strained out again (herbs out of an infusion) and gave only its name.
    """

    parent = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="links_into", db_index=False
    )
    child = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="links_from", db_index=False
    )
    amount = StockField()
    reference = models.CharField(max_length=80, blank=True)
    stays = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = rules(link_between_two_lots=Q(amount__gt=0) & ~Q(parent=F("child")))
        indexes = [
            models.Index(fields=["parent", "child"], name="link_downward"),
            models.Index(fields=["child", "parent"], name="link_upward"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} of {self.parent_id} in {self.child_id}"
