"""The form of a delivery: the invoice's head, its lines as they are written, its charges."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils import timezone

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.certificate import CERTIFIED, VALUES, Certificate
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind
from inventory.domain.stock.holds import LONGEST_SAID
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import CODE_LENGTH, Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.pages.stock.lot_certificate import (
    allergens_field,
    confirming_field,
    measured_field,
    read_allergens,
)
from inventory.services.receiving.received import INVOICE_AGAIN, OrderLineAt, Received, ReceivedLine
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.grammar import MAX_TEXT
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import DayFormField, MoneyFormField, QuantityFormField

MOST_LINES = 200
MOST_CHARGES = 20
#: "2 x 1 gal", "2 × 35 lb", or "2" alone for packs of an offer.
_PACKS = re.compile(r"\s*([0-9]{1,7})\s*[x×*]\s*(\S.*)", re.IGNORECASE)
_ONLY_PACKS = re.compile(r"\s*([0-9]{1,7})\s*")
STATES = (
    ("", "Free to use"),
    (LotState.QUARANTINE.value, "To be checked first"),
    (LotState.BLOCKED.value, "Must not be used"),
)


class HeadForm(forms.Form):
    """Who sent it, and when."""

    supplier = forms.ChoiceField()
    received_on = DayFormField(label="Came in on")
    invoice = forms.CharField(required=False, max_length=60, label="Invoice number")
    note = forms.CharField(required=False, max_length=2000)
    invoice_again = forms.BooleanField(
        required=False, label="This is another part of an invoice that came in before"
    )

    as_stated = confirming_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = Supplier.objects.filter(active=True).order_by("name")
        self.fields["supplier"].choices = [  # type: ignore[attr-defined]
            ("", "Choose a supplier"),
            *known.values_list("code", "name"),
        ]

    @property
    def asks_again(self) -> bool:
        """Whether it must be confirmed, or was, that the invoice came in before."""
        return "invoice" in self.errors or bool(self["invoice_again"].value())


class LineForm(forms.Form):
    """One line of the invoice."""

    item = forms.CharField(
        max_length=120,
        label="Material or offer",
        widget=forms.TextInput(attrs={"list": "known-items", "autocomplete": "off"}),
    )
    written = forms.CharField(
        required=False, max_length=MAX_TEXT, label="As written on the invoice"
    )
    price = MoneyFormField(required=False, label="Price of the line")
    supplier_lot = forms.CharField(required=False, max_length=60, label="Supplier's lot")
    best_before = DayFormField(required=False)
    allergens = allergens_field()
    state = forms.ChoiceField(required=False, choices=STATES, label="On arrival")
    state_reason = forms.CharField(
        required=False,
        max_length=LONGEST_SAID,
        label="Why it is held",
        help_text="Needed where it must not be used.",
    )
    lot_code = forms.CharField(
        required=False,
        max_length=CODE_LENGTH,
        label="Lot code of your own",
        help_text="The studio's next, if left out.",
    )
    note = forms.CharField(required=False, max_length=2000, label="Note on the lot")
    weight = QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        required=False,
        label="Weighs, to spread freight over what is counted",
    )
    position = forms.IntegerField(
        required=False, min_value=1, max_value=10_000, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {**self.fields, **{name: measured_field(name) for name in VALUES}}

    def clean_allergens(self) -> tuple[Allergen, ...] | None:
        """What its certificate states of allergens."""
        return read_allergens(self.cleaned_data["allergens"])

    @property
    def certified(self) -> list[forms.BoundField]:
        """The fields of what its certificate states, and of what spreads freight."""
        return [self[name] for name in (*VALUES, "allergens", "weight")]

    @property
    def arriving(self) -> list[forms.BoundField]:
        """The fields of what is to become of the lot."""
        return [self[name] for name in ("state", "state_reason", "lot_code", "note")]

    @property
    def states_certificate(self) -> bool:
        """Whether something of its certificate is typed, or wrong."""
        return any(each.value() or each.errors for each in self.certified)

    @property
    def states_more(self) -> bool:
        """Whether something is said of its arrival, or wrong."""
        return any(each.value() or each.errors for each in self.arriving)


class ChargeForm(forms.Form):
    """What the invoice adds or takes beside its lines."""

    kind = forms.ChoiceField(
        label="Charge", choices=[(kind.value, kind.value.capitalize()) for kind in ChargeKind]
    )
    amount = MoneyFormField(required=False, allow_negative=True)
    basis = forms.ChoiceField(
        label="Spread by", choices=[(basis.value, basis.value) for basis in Basis]
    )

    def has_changed(self) -> bool:
        """A charge is there once it has an amount; kind and basis are always chosen."""
        return "amount" in self.changed_data


Lines = forms.formset_factory(LineForm, extra=1, max_num=MOST_LINES, absolute_max=MOST_LINES)
Charges = forms.formset_factory(
    ChargeForm, extra=1, max_num=MOST_CHARGES, absolute_max=MOST_CHARGES
)


class NamedItems:
    """What is typed in the lines, found among offers and materials. Two queries."""

    def __init__(self, texts: Sequence[str], *, supplier: str) -> None:
        wanted = {text.strip() for text in texts if text.strip()}
        offers = Offer.objects.filter(supplier__code=supplier, active=True)
        self._offers = {o.code.casefold(): o.code for o in offers.filter(code__in=wanted)}
        self._by_material: dict[int, list[str]] = {}
        for pk, code in offers.order_by("id").values_list("material", "code"):
            self._by_material.setdefault(pk, []).append(code)
        known = Material.objects.filter(active=True).values_list("pk", "code", "name")
        folded = {text.casefold() for text in wanted}
        self._materials: dict[str, list[tuple[int, str]]] = {}
        for pk, code, name in known:
            for called in {code.casefold(), name.casefold()} & folded:
                self._materials.setdefault(called, []).append((pk, code))

    def named(self, text: str, *, packs_only: bool) -> tuple[str, str, str]:
        """The material's code, the offer's, and why there is neither ("" when there is one).

        Packs without what each holds are of an offer: of the only one, else it has to be named.
        """
        called = text.strip().casefold()
        if called in self._offers:
            return "", self._offers[called], ""
        found = self._materials.get(called, [])
        if len(found) != 1:
            many = "Several materials are called that: write the code of one."
            return "", "", many if found else "No material or offer of theirs is called that."
        pk, code = found[0]
        if not packs_only:
            return code, "", ""
        offers = self._by_material.get(pk, [])
        if len(offers) == 1:
            return "", offers[0], ""
        several = f"Several of their offers are of it: write one of {', '.join(offers[:6])}."
        return code, "", several if offers else ""


def packs_of(written: str) -> tuple[int, str]:
    """ "2 x 1 gal" is 2 packs of "1 gal", "2" two packs of an offer, "35 lb" one of it."""
    match = _PACKS.fullmatch(written)
    if match:
        return int(match[1]), match[2].strip()
    only = _ONLY_PACKS.fullmatch(written)
    return (int(only[1]), "") if only else (1, written.strip())


def read_delivery(
    head: HeadForm, lines: Any, charges: Any, *, order: str = "", costs: bool
) -> Received:
    """The delivery that the forms describe; what cannot be named is marked in its row.

    Of forms that cannot be read, what can: what is wrong with the rest is told beside it.
    """
    given = _read(head)
    rows = [form for form in lines.forms if form.has_changed()]
    supplier = given["supplier"] or ""
    items = NamedItems([_read(form)["item"] or "" for form in rows], supplier=supplier)
    return Received(
        supplier=supplier,
        received_on=given["received_on"] or timezone.localdate(),
        invoice=given["invoice"] or "",
        note=given["note"] or "",
        confirmed=frozenset(
            [
                *([INVOICE_AGAIN] if given["invoice_again"] else []),
                *(UNUSUAL if given["as_stated"] else []),
            ]
        ),
        lines=[_line(form, items, order=order, costs=costs) for form in rows],
        charges=[_charge(_read(row)) for row in charges.forms if row.has_changed()]
        if costs
        else [],
    )


def _read(form: forms.Form) -> dict[str, Any]:
    """What a form says by field; None of what could not be read."""
    return dict.fromkeys(form.fields) | form.cleaned_data


def _line(form: forms.Form, items: NamedItems, *, order: str, costs: bool) -> ReceivedLine:
    given = _read(form)
    packs, written = packs_of(given["written"] or "")
    material, offer, trouble = items.named(given["item"] or "", packs_only=not written)
    if trouble and given["item"]:
        form.add_error("item", trouble)
    if material and not written and packs:
        # Without an offer a bare number counts pieces.
        packs, written = 1, (given["written"] or "").strip()
    return ReceivedLine(
        material=material,
        offer=offer,
        packs=packs,
        written=written,
        price=given["price"] if costs else None,
        supplier_lot=given["supplier_lot"] or "",
        best_before=given["best_before"],
        lot_code=(given["lot_code"] or "").strip(),
        state=LotState(given["state"] or LotState.RELEASED),
        state_reason=given["state_reason"] or "",
        note=given["note"] or "",
        certificate=Certificate(**{name: given[name] for name in CERTIFIED}),
        weight_ng=given["weight"],
        order_line=OrderLineAt(order=order, position=given["position"])
        if order and given["position"]
        else None,
    )


def _charge(given: dict[str, Any]) -> Charge:
    kind, amount = ChargeKind(given["kind"] or ChargeKind.OTHER), given["amount"] or 0
    if kind is ChargeKind.DISCOUNT:
        amount = -abs(amount)
    return Charge(kind=kind, amount=amount, basis=Basis(given["basis"] or Basis.VALUE))
