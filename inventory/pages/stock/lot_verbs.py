"""What is done with one lot: count, write off, move, certify; its holds stand in `lot_holds`."""

from collections.abc import Callable, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.domain.shipping.trace import TracedLot
from inventory.domain.stock.days import DayRule
from inventory.models.stock.lots import Location, Lot
from inventory.pages.stock.lot_certificate import CertificateForm
from inventory.pages.words import document, units_of, written_stock
from inventory.queries.stock.lot_history import held_lines, lot_at
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.receiving.receipt_day import REASON_LENGTH, correct_day_of_receipt
from inventory.services.stock.certificates import certify_lot, weigh_from
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locations import move_lot
from studio.foundation.roles import Capability
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import how_many
from studio.web.form_fields import DayFormField, QuantityFormField
from studio.web.pages.forms import WAYS, Way, faults_on, form_page, see_other
from studio.web.pages.places import page_address
from studio.web.pages.ruled import page

REASON = 200
STOCKED = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
Do = Callable[[Lot, Any], str]


def day_field(label: str, **values: Any) -> forms.DateField:
    """A day, today unless another is chosen."""
    return DayFormField(label=label, initial=timezone.localdate, **values)


class CountForm(forms.Form):
    """What was found of a lot."""

    found = QuantityFormField(
        dimensions=STOCKED, label="Found", help_text="With its unit: 2.4 kg, 5 lb 3 oz, 12 each."
    )
    counted_on = day_field("Counted on")
    reason = forms.CharField(required=False, max_length=REASON, label="Why it may differ")


class SpoilForm(forms.Form):
    """What is written off, and why."""

    amount = QuantityFormField(
        dimensions=STOCKED, label="How much", help_text="With its unit: 300 g, 8 oz, 3 each."
    )
    spoiled_on = day_field("Written off on", required=False)
    reason = forms.CharField(max_length=REASON, label="Why", help_text="Rancid, spilled, broken.")


class ReceivedOnForm(forms.Form):
    """The day on which a lot really came in, and why the books said otherwise."""

    received_on = day_field("Came in on")
    reason = forms.CharField(max_length=REASON_LENGTH, label="Why", help_text="It stays on record.")


class MoveForm(forms.Form):
    """Where a lot stands from now on."""

    location = forms.ChoiceField(required=False, label="Stands")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = Location.objects.filter(active=True).order_by("name")
        self.fields["location"].choices = [  # type: ignore[attr-defined]
            ("", "Nowhere in particular"),
            *places.values_list("code", "name"),
        ]


@page(Capability.KEEP_STOCK, once=True)
def spoil_page(request: HttpRequest, code: str) -> HttpResponse:
    """Write off what spoiled."""

    def do(lot: Lot, given: Any) -> str:
        origin = Origin(
            reference=f"spoil:{lot.code}",
            by=_by(request),
            note=given["reason"],
            on=given["spoiled_on"],
            day_field="spoiled_on",
        )
        amount = weigh_from(lot, given["amount"])
        spoil_lot(lot.pk, amount, origin=origin)
        units = units_of(request.user)
        written = written_stock(amount, counted=lot.material.counted, units=units)
        return f"is down by {written}, written off."

    told = "It leaves the books with its share of the cost. A later count can bring it back."
    return verb_page(
        request, code, SpoilForm(request.POST or None), do, verb="Write off", told=told, grave=True
    )


@page(Capability.KEEP_STOCK, once=True)
def count_page(request: HttpRequest, code: str) -> HttpResponse:
    """Bring the books to what was found of one lot."""

    def do(lot: Lot, given: Any) -> str:
        counted = Counted(
            lot_id=lot.pk,
            found=weigh_from(lot, given["found"]),
            on=given["counted_on"],
            reason=given["reason"],
        )
        origin = Origin(reference=f"count:{lot.code}", by=_by(request), note=given["reason"])
        record = count_lot(counted, origin=origin)
        return "is counted." if record.found == record.expected else "is counted and corrected."

    form = CountForm(request.POST or None)
    told = "Weigh or count what is there, before looking at what the books say."
    return verb_page(request, code, form, do, verb="Save the count", told=told)


@page(Capability.KEEP_STOCK, once=True)
def received_on_page(request: HttpRequest, code: str) -> HttpResponse:
    """Correct the day a lot came in."""
    lot = lot_at(code)

    def do(lot: Lot, given: Any) -> str:
        moved = correct_day_of_receipt(code, **given, by=_by(request))
        others = how_many(len(moved) - 1, "other lot")
        return f"has its day, and {others} of its delivery too." if moved[1:] else "has its day."

    form = ReceivedOnForm(request.POST or None, initial={"received_on": lot.received_on})
    told = (
        "What was used of it stays on its days, which may be from the new one on. All that came in "
        "the same delivery came on that day; a best before that follows from the shelf life moves "
        "along."
    )
    return verb_page(request, code, form, do, verb="Correct the day it came in", told=told, lot=lot)


@page(Capability.KEEP_STOCK)
def move_page(request: HttpRequest, code: str) -> HttpResponse:
    """Put the lot somewhere else."""

    def do(lot: Lot, given: Any) -> str:
        moved = move_lot(lot.pk, given["location"] or None, by=_by(request))
        return f"stands in {moved.location.name}." if moved.location else "stands nowhere now."

    lot = lot_at(code)
    initial = {"location": lot.location.code if lot.location else ""}
    form = MoveForm(request.POST or None, initial=initial)
    return verb_page(request, code, form, do, verb="Move", told="No stock changes.", lot=lot)


@page(Capability.KEEP_STOCK, once=True)
def certificate_page(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what the lot's certificate and label state."""
    lot = lot_at(code)
    form = CertificateForm(request.POST or None, initial=CertificateForm.of(lot))

    def do(lot: Lot, given: Any) -> str:
        certify_lot(lot.pk, form.stated(), confirmed=form.confirmed, by=_by(request))
        return "has its certificate."

    told = (
        "A lot's own values go before the material's. What was already weighed in stays as it is; "
        "the lye of batches that are not mixed yet is reckoned anew."
    )
    return verb_page(request, code, form, do, verb="Keep the certificate", told=told, lot=lot)


def register_ways() -> None:
    """Make known where the day is corrected on which a lot came in."""
    WAYS.register(
        Way(
            code=DayRule.BEFORE_RECEIPT.value,
            words="Correct the day it came in",
            address=lambda fault: (
                ""
                if fault.details.get("made")
                else page_address("lot-received-on-page", fault.details["lot"])
            ),
        )
    )


def _by(request: HttpRequest) -> Any:
    return request.user


def verb_page(
    request: HttpRequest,
    code: str,
    form: forms.Form,
    do: Do,
    *,
    verb: str,
    told: str,
    grave: bool = False,
    lot: Lot | None = None,
    made: Sequence[TracedLot] = (),
) -> HttpResponse:
    """Show the form of a verb, or do it and lead back to the lot. `do` answers what it came to."""
    lot = lot or lot_at(code)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            done = do(lot, form.cleaned_data)
            messages.success(request, f"Lot {lot.code} {done}")
            return see_other(request, "lot-page", lot.code)
    density = lot.own_or_nominal("density_g_ml")
    context = {
        "lot": lot,
        "form": form,
        "verb": verb,
        "told": told,
        "grave": grave,
        "made": made,
        "held": [(each, *document(each.reservation.holder)) for each in held_lines(lot)]
        if grave
        else [],
        "density": "" if density is None else f"{density:f}",
    }
    return form_page(request, "inventory/stock/lot_verb.html", context)
