"""Choose lots by name before a batch is reserved; an owner may name unsafe soap for a rebatch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.queries.stock.candidates import ChosenLot
from inventory.queries.stock.free_lots import free_lots, unsafe_lots
from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.batch import ReserveForm
from recipes.pages.bench.worst import NAME as ACCEPT_WORST
from recipes.pages.bench.worst import asking_worst
from recipes.queries.bench.batches import batch_by_code, batch_needs
from recipes.queries.cure.batch_history import making_for
from recipes.services.bench.shelf import batch_rows, cautions_of
from recipes.services.levels.multilevel import reserve_planned
from studio.foundation.roles import Capability, may_decide
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import page, who

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

#: So many lots of a material are listed, those that are used first; the rest by the API.
MOST_LOTS = 50
LOT_FIELDS = ("take-", "amount-")
GONE = "A lot that you chose is not free any more: look at the list again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A lot that may be named: `free` in stock units; `unsafe` says what it is held for, if so."""

    id: int
    code: str
    free: int
    best_before: date | None = None
    unsafe: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a batch needs of a material (stock units), and the lots of it; `more` are not listed."""

    material: "Material"
    amount: int
    lots: Sequence[Listed]
    more: int


def needs_of(batch: Batch, *, for_owner: bool) -> list[Need]:
    """The materials of a batch, each once, with their lots as they are used. Three queries, and
    two `for_owner`, who may name unsafe soap."""
    rows = batch_rows(batch)
    amounts = batch_needs(rows)
    materials = {row.material_id: row.material for row in rows}
    on = max(batch.planned_on, timezone.localdate())
    lots: dict[int, list[Listed]] = {pk: [] for pk in materials}
    for lot in sorted(free_lots(materials, on=on), key=lambda lot: lot.best_before or date.max):
        listed = Listed(id=lot.id, code=lot.code, free=lot.free, best_before=lot.best_before)
        lots[lot.material].append(listed)
    more = {pk: max(len(some) - MOST_LOTS, 0) for pk, some in lots.items()}
    lots = {pk: some[:MOST_LOTS] for pk, some in lots.items()}
    for held in unsafe_lots(materials, on=on) if for_owner else ():
        listed = Listed(id=held.id, code=held.code, free=held.free, unsafe=held.reason)
        lots[held.material].append(listed)
    return [
        Need(material=materials[pk], amount=amount, lots=lots[pk], more=more[pk])
        for pk, amount in amounts.items()
        if amount
    ]


class ChooseForm(ReserveForm):
    """How a batch is reserved, and out of which lots: a tick and an amount for each lot."""

    def __init__(self, *args: Any, needs: Sequence[Need], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.needs = needs
        for need in needs:
            counted = need.material.counted
            stocked = (Dimension.COUNT,) if counted else (Dimension.MASS, Dimension.VOLUME)
            for lot in need.lots:
                self.fields[f"take-{lot.id}"] = forms.BooleanField(
                    required=False, label=f"Lot {lot.code}"
                )
                self.fields[f"amount-{lot.id}"] = QuantityFormField(
                    dimensions=stocked, required=False, label=f"How much of {lot.code}"
                )

    def clean(self) -> dict[str, Any]:
        """Amounts in stock units; a lot with an amount is meant, ticked or not."""
        given = super().clean() or self.cleaned_data
        meant = {name for name in self.data if name.startswith(LOT_FIELDS) and self.data[name]}
        if meant - self.fields.keys():
            self.add_error(None, GONE)
        for need in self.needs:
            for lot in need.lots:
                amount = given.get(f"amount-{lot.id}")
                if isinstance(amount, Quantity):
                    given[f"amount-{lot.id}"] = self._stock(lot, amount, need.material)
        return given

    def _stock(self, lot: Listed, amount: Quantity, material: "Material") -> int | None:
        name = f"amount-{lot.id}"
        try:
            stock = stock_amount(
                amount, counted=material.counted, density_g_ml=material.density_g_ml
            )
        except UnitRefusal as refusal:
            self.add_error(name, refusal.faults[0].message)
            return None
        if not stock:
            self.add_error(name, "More than nothing; empty is as much of it as is needed.")
        return stock

    @property
    def chosen(self) -> dict[int, list[ChosenLot]]:
        """The lots that are named, by material (id), as the services take them."""
        found = {need.material.pk: self._chosen_of(need) for need in self.needs}
        return {
            pk: [
                ChosenLot(code=lot.code, amount=self.cleaned_data[f"amount-{lot.id}"])
                for lot in lots
            ]
            for pk, lots in found.items()
            if lots
        }

    @property
    def takes_unsafe(self) -> bool:
        """Whether unsafe soap is among what is named."""
        return any(lot.unsafe for need in self.needs for lot in self._chosen_of(need))

    def names(self) -> Mapping[str, str]:
        """The paths of the services as the fields here."""
        found: dict[str, str] = {}
        for need in self.needs:
            path = f"chosen.{need.material.pk}"
            for index, lot in enumerate(self._chosen_of(need)):
                found.setdefault(path, f"take-{lot.id}")
                found[f"{path}.{index}"] = f"take-{lot.id}"
                found[f"{path}.{index}.amount"] = f"amount-{lot.id}"
        return found

    def rows(self) -> list[tuple[Need, list[tuple[Listed, Any, Any]], bool]]:
        """Each need with its lots and their two fields, and whether an amount is stated."""
        found = []
        for need in self.needs:
            lots = [(lot, self[f"take-{lot.id}"], self[f"amount-{lot.id}"]) for lot in need.lots]
            stated = any(amount.value() or amount.errors for _, _, amount in lots)
            found.append((need, lots, stated))
        return found

    @property
    def how(self) -> list[Any]:
        """The fields of how it is reserved, without those of lots and what is asked above them."""
        return [self[name] for name in ReserveForm.base_fields if name != ACCEPT_WORST]

    def _chosen_of(self, need: Need) -> list[Listed]:
        given = self.cleaned_data
        return [
            lot
            for lot in need.lots
            if given.get(f"take-{lot.id}") or given.get(f"amount-{lot.id}") is not None
        ]


@page(Capability.PLAN, once=True)
def choose_page(request: HttpRequest, code: str) -> HttpResponse:
    """Name the lots that a batch is to use first, and reserve it with them."""
    batch = batch_by_code(code)
    if request.method != "POST" and batch.state != BatchState.PLANNED:
        return see_other(request, "batch-page", code)
    needs = needs_of(batch, for_owner=may_decide(request.user))
    form = ChooseForm(request.POST or None, needs=needs)
    if request.method == "POST" and form.is_valid():
        how = {name: form.cleaned_data[name] for name in ReserveForm.base_fields}
        with faults_on(form, names=form.names()), asking_worst(form):
            reserve_planned(code, chosen=form.chosen, **how, by=who(request))
            messages.success(request, f"What {code} needs is held for it.")
            if form.takes_unsafe:
                messages.warning(
                    request, "It is a rebatch: what it makes is held until an owner decides."
                )
            return see_other(request, "batch-page", code)
    context = {
        "batch": batch,
        "form": form,
        "has_unsafe": any(lot.unsafe for need in needs for lot in need.lots),
        "cautions": cautions_of(batch),
        "making": [one for one in making_for(batch) if one.state == BatchState.PLANNED],
    }
    return form_page(request, "recipes/bench/choose.html", context)
