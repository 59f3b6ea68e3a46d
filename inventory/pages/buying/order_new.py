"""Write an order to a supplier by hand: packs of what he offers, as a draft to read and place."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.domain.catalog.packs import MAX_PACKS
from inventory.models.catalog.suppliers import Offer
from inventory.pages.buying.orders import PLACED_BY
from inventory.queries.catalog.offers import offers_of, supplier_at
from inventory.services.buying.orders import Ordered, OrderedLine, draft_order
from studio.foundation.local_words import written_money
from studio.web.form_fields import DayFormField, MoneyFormField
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import page, who


class OrderForm(forms.Form):
    """How many packs of each offer, and until when; an offer without packs is not ordered."""

    expected_on = DayFormField(
        required=False,
        label="Expected on",
        help_text="Empty: after the longest time that one of them takes to come.",
    )
    note = forms.CharField(required=False, max_length=2000, label="Note")

    def __init__(self, *args: Any, offers: Sequence[Offer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offers = offers
        for offer in offers:
            self.fields[f"packs-{offer.pk}"] = forms.IntegerField(
                required=False,
                min_value=0,
                max_value=MAX_PACKS,
                label=f"Packs of {offer.material.name}, {offer.pack_written}",
                help_text=_asks(offer),
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )
            self.fields[f"price-{offer.pk}"] = MoneyFormField(
                required=False, label="Price of all of them, if agreed otherwise"
            )

    def clean(self) -> dict[str, Any]:
        """A price alone is no order."""
        given = super().clean() or self.cleaned_data
        for offer in self.offers:
            if given.get(f"price-{offer.pk}") is not None and not given.get(f"packs-{offer.pk}"):
                self.add_error(f"packs-{offer.pk}", "How many packs is that price for?")
        return given

    @property
    def rows(self) -> list[tuple[Offer, Any, Any]]:
        """Each offer with its two fields."""
        return [(o, self[f"packs-{o.pk}"], self[f"price-{o.pk}"]) for o in self.offers]

    @property
    def lines(self) -> list[OrderedLine]:
        """What is ordered, as the service takes it."""
        given = self.cleaned_data
        return [
            OrderedLine(
                offer=offer.code,
                packs=given[f"packs-{offer.pk}"],
                price=given[f"price-{offer.pk}"],
            )
            for offer in self._meant()
        ]

    def names(self) -> Mapping[str, str]:
        """The paths of the service as the fields here."""
        found: dict[str, str] = {}
        for index, offer in enumerate(self._meant()):
            found |= {f"lines.{index}.{name}": f"packs-{offer.pk}" for name in ("offer", "packs")}
            found[f"lines.{index}.price"] = f"price-{offer.pk}"
        return found

    def _meant(self) -> list[Offer]:
        return [offer for offer in self.offers if self.cleaned_data.get(f"packs-{offer.pk}")]


def _asks(offer: Offer) -> str:
    """What the supplier asks for a pack, and how many he wants at least."""
    less = ", less for more" if offer.price_breaks else ""
    least = f", no fewer than {offer.minimum_packs}" if offer.minimum_packs > 1 else ""
    item = f", their number {offer.supplier_item}" if offer.supplier_item else ""
    return f"{written_money(offer.price)} a pack{less}{least}{item}."


@page(PLACED_BY, once=True)
def order_new(request: HttpRequest, code: str) -> HttpResponse:
    """Draft an order to a supplier out of what he offers today."""
    supplier, today = supplier_at(code), timezone.localdate()
    offers = [offer for offer in offers_of(supplier) if offer.holds_on(today)]
    form = OrderForm(request.POST or None, offers=offers)
    if request.method == "POST" and form.is_valid():
        with faults_on(form, names=form.names()):
            wanted = Ordered(
                supplier=supplier.code,
                ordered_on=today,
                lines=form.lines,
                expected_on=form.cleaned_data["expected_on"],
                note=form.cleaned_data["note"],
            )
            order = draft_order(wanted, by=who(request))
            messages.success(request, f"Order {order.code} is drafted: nothing is sent yet.")
            return see_other(request, "purchase-order-page", order.code)
    context = {"supplier": supplier, "form": form}
    return form_page(request, "inventory/buying/order_new.html", context)
