"""Opening stock: lots that stand on the shelf when the studio begins to keep its books here."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate, check_certificate
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.packs import friendly_amount, most
from inventory.domain.catalog.unusual import check_unusual
from inventory.domain.stock.freshness import check_best_before
from inventory.domain.stock.holds import (
    TRAVELING,
    Cause,
    NewHold,
    asked_for,
    state_of,
    stated,
)
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.shipping.recalls import LONGEST_RECALL, Recall
from inventory.models.stock.lots import Lot
from inventory.queries.stock.holds import held_in_words
from inventory.services.days import take_day_outside
from inventory.services.events import buying_cost_changed
from inventory.services.stock.certificates import keep_confirmed
from inventory.services.stock.holds import hold
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults, Refusal
from studio.foundation.money import MAX_MONEY
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity
from studio.work.cleaning import take_clashes, take_field_faults
from studio.work.numbering import last_number, next_code, skip_code

#: Codes as the studio gives them out: of lots, and of what its batches made.
_GIVEN_OUT = re.compile(r"([A-Z]{1,2})-([0-9]+)(?:-[a-z]+)?", re.ASCII)
#: A code beyond would use up the numbers that the studio gives out.
_HIGHEST_NUMBER = 9_999_999
LONGEST_CURE = timedelta(days=3650 * 2)
_WORDS = ("supplier_lot", "note")
_TEXTS = ("code", *_WORDS, "state_reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningLot:
    """A lot as it stands: `quantity` in any unit that fits, `cost` of all of it (ten-thousandths).

    `material` and `supplier` are codes; what was made here has no supplier. `state` is asked for:
    bars in quarantine cure, until the day `cures_until` where it is known; anything else waits to
    be checked; what is blocked says why, and is held by hand. `held_for` says what it is held for
    instead, with the day from which on: each keeps its own way out, which for a recall is one of
    this lot. `confirmed` are the codes of what its certificate states that is unusual and is meant
    so.
    """

    code: str
    material: str
    quantity: Quantity
    cost: int
    received_on: date
    supplier: str | None = None
    supplier_lot: str = ""
    best_before: date | None = None
    state: LotState = LotState.RELEASED
    state_reason: str = ""
    held_for: Sequence[tuple[Cause, date]] = ()
    cures_until: date | None = None
    certificate: Certificate = NOT_CERTIFIED
    note: str = ""
    confirmed: Collection[str] = ()


@transaction.atomic
def receive_opening_lot(opening: OpeningLot, *, by: By = None) -> Lot:
    """Receive a lot that stood here before, under its own code, with what it cost.

    A code such as L-00042 is never given out again, nor one below it. Raises MaterialRefusal with
    every fault.
    """
    faults = Faults()
    # Locked so that its unit holds until the lot is open.
    material = Material.objects.select_for_update(no_key=True).filter(code=opening.material).first()
    supplier = Supplier.objects.filter(code=opening.supplier).first() if opening.supplier else None
    if opening.supplier and supplier is None:
        faults.add("not-found", f"There is no supplier {opening.supplier}.", "supplier")
    number = _number_of(faults, opening)
    _check_values(faults, opening, material)
    amount = 0
    if material is None:
        faults.add("not-found", f"There is no material {opening.material}.", "material")
    else:
        amount = _amount(faults, opening, material)
        _check_material(faults, opening, material)
    faults.raise_if_any(MaterialRefusal)
    assert material is not None  # or there was a fault
    if number is not None:
        skip_code(*number)
    return _open(opening, material, supplier, amount=amount, by=by)


def _open(
    opening: OpeningLot,
    material: Material,
    supplier: Supplier | None,
    *,
    amount: int,
    by: By,
) -> Lot:
    new = NewLot(
        material=material,
        amount=amount,
        cost=opening.cost,
        received_on=opening.received_on,
        code=opening.code,
        supplier=supplier,
        best_before=opening.best_before,
        holds=_holds(opening, material),
        certificate=opening.certificate,
        **{name: getattr(opening, name) for name in _WORDS},
    )
    origin = Origin(
        reference=f"opening:{opening.code}",
        by=by,
        note="Opening stock",
        on=opening.received_on,
        day_field="received_on",
    )
    (lot,) = open_lots([new], verb=Verb.RECEIVE, origin=origin)
    recalled = [since for cause, since in opening.held_for if cause is Cause.RECALL]
    if recalled:
        _recall(lot, opening.state_reason, since=min(recalled), by=by)
    keep_confirmed([lot], confirmed=opening.confirmed, by=by)
    buying_cost_changed.send(Lot, materials=frozenset({material.pk}))
    return lot


def _holds(opening: OpeningLot, material: Material) -> Sequence[NewHold]:
    """What holds it from its first day on here; a recall needs the lot first."""
    reference = f"opening:{opening.code}"
    if opening.held_for:
        kept = [each for each in opening.held_for if each[0] is not Cause.RECALL]
        return stated(kept, opening.state_reason, reference=reference, until=opening.cures_until)
    return [
        replace(new, until=opening.cures_until) if new.cause is Cause.CURE else new
        for new in asked_for(
            opening.state,
            opening.state_reason,
            cures=material.kind == MaterialKind.BAR.value,
            reference=reference,
        )
    ]


def _recall(lot: Lot, reason: str, *, since: date, by: By) -> None:
    """Recall a lot that was recalled before it stood here; lifting that frees it of it."""
    said = reason.strip()[:LONGEST_RECALL]
    recall = Recall.objects.create(code=next_code("R"), lot=lot, reason=said, by=by)
    new = NewHold(cause=Cause.RECALL, reason=recall.hold_reason, reference=recall.document)
    hold([lot.pk], new, on=since, by=by)
    lot.refresh_from_db(fields=["state", "state_reason"])


def _number_of(faults: Faults, opening: OpeningLot) -> tuple[str, int] | None:
    """Prefix and number of a code of the studio's own form."""
    match = _GIVEN_OUT.fullmatch(opening.code)
    if match is None:
        return None
    number = int(match[2])
    if number > _HIGHEST_NUMBER:
        faults.add("out-of-range", f"Numbers go up to {_HIGHEST_NUMBER}.", "code")
    if match[1] != "L" and number <= last_number(match[1]):
        faults.add(
            "code-given-out",
            f"{match[1]}-{match[2]} is a number of this studio's own: choose another code.",
            "code",
        )
    return match[1], number


def _amount(faults: Faults, opening: OpeningLot, material: Material) -> int:
    density = opening.certificate.density_g_ml
    if density is None:
        density = material.density_g_ml
    try:
        amount = stock_amount(opening.quantity, counted=material.counted, density_g_ml=density)
    except Refusal as refusal:
        faults.take(refusal, "amount")
        return 0
    limit = most(counted=material.counted)
    if amount <= 0:
        faults.add("nothing", "A lot holds more than nothing.", "amount")
    elif amount > limit:
        shown = friendly_amount(limit, counted=material.counted)
        faults.add("too-large", f"That is more than a lot holds: {shown} at most.", "amount")
    return amount


def _check_values(faults: Faults, opening: OpeningLot, material: Material | None) -> None:
    check_certificate(faults, opening.certificate, material=material)
    take_day_outside(faults, "What stands on the shelf", opening.received_on, "received_on")
    row = Lot(**{name: getattr(opening, name) for name in _TEXTS})
    take_field_faults(faults, row, only=_TEXTS)
    take_clashes(faults, row, only=("code",))
    if not 0 <= opening.cost <= MAX_MONEY:
        faults.add("out-of-range", "A cost is not below zero, nor too large.", "cost")
    if opening.state is LotState.BLOCKED and not opening.state_reason.strip():
        faults.add("reason-missing", "Say why the lot is blocked.", "state_reason")
    _check_holds(faults, opening)


def _check_holds(faults: Faults, opening: OpeningLot) -> None:
    """What holds it fits its state and its days, and is no less than what a lot here is held for
    in the same words.
    """
    causes = {cause for cause, _ in opening.held_for}
    if causes and opening.state is not (state := state_of(causes)):
        told = f"What it is held for makes it {state}: write that, or what it is held for."
        faults.add("state-differs", told, "state")
    if any(not opening.received_on <= day <= timezone.localdate() for _, day in opening.held_for):
        told = f"It is held since a day from {opening.received_on} to today."
        faults.add("day-outside", told, "held_for")
    for held in held_in_words(opening.state_reason, TRAVELING - causes):
        told = f"Lot {held.lot.code} is held for this as {held.cause}: say so of this one, too."
        faults.add("held-for-missing", told, "held_for", lot=held.lot.code, cause=held.cause)


def _check_material(faults: Faults, opening: OpeningLot, material: Material) -> None:
    if material.kind == MaterialKind.BATTER.value:
        faults.add(
            "poured-here",
            f"{material.name} is poured soap: it comes from pouring a batch. Take it in once it is "
            "cut, as bars.",
            "material",
        )
    check_unusual(faults, opening.certificate, material, confirmed=opening.confirmed)
    causes = {cause for cause, _ in opening.held_for}
    if Cause.CURE in causes and material.kind != MaterialKind.BAR.value:
        faults.add("not-curing", "Bars alone are held for their cure.", "held_for")
    if opening.cures_until is not None:
        _check_cure(faults, opening, opening.cures_until, material)
    check_best_before(
        faults,
        opening.best_before,
        received_on=opening.received_on,
        shelf_life_days=material.shelf_life_days,
    )


def _check_cure(faults: Faults, opening: OpeningLot, until: date, material: Material) -> None:
    causes = {cause for cause, _ in opening.held_for}
    cures = Cause.CURE in causes if causes else opening.state is LotState.QUARANTINE
    if material.kind != MaterialKind.BAR.value or not cures:
        faults.add(
            "not-curing",
            "Only bars in quarantine cure: leave the day out, or put them in quarantine.",
            "cures_until",
        )
    elif not opening.received_on <= until <= opening.received_on + LONGEST_CURE:
        faults.add(
            "day-outside",
            f"A cure ends within twenty years of the day of the lot ({opening.received_on}).",
            "cures_until",
        )
