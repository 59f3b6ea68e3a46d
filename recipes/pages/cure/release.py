"""The release: bars are packed, and may be sold from then on unless they are of a trial."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.forms import BoundField
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.queries.stock.holds import open_holds
from inventory.services.stock.hold_verbs import remaining
from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.making import ReleaseForm, another_step
from recipes.pages.cure.cure import label_of
from recipes.queries.bench.batches import batch_by_code, packing_needs
from recipes.queries.cure.cure import cure_from
from recipes.services.bench.lot_holds import beside_cure, still_of_trial
from recipes.services.bench.shelf import batch_rows
from recipes.services.cure.finishing import Cured, cure_batch
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount, how_many
from studio.web.form_fields import QuantityFormField, as_form_error
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """A material that bars are packed with, and how much the good bars need of it."""

    material: "Material"
    needed: int

    @property
    def name(self) -> str:
        """Its field in the form."""
        return f"packed_{self.material.pk}"

    @property
    def written(self) -> str:
        """The need as a field takes it."""
        unit = "each" if self.material.counted else "g"
        return f"{format_amount(self.needed, unit)} {unit}"


class PackingForm(ReleaseForm):
    """The release with a field for each material that bars are packed with."""

    def __init__(self, *args: Any, packing: Sequence[Packing], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.packing = packing
        for each in packing:
            counted = each.material.counted
            self.fields[each.name] = QuantityFormField(
                dimensions=[Dimension.COUNT] if counted else [Dimension.MASS, Dimension.VOLUME],
                label=each.material.name,
                initial=each.written,
            )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for each in self.packing:
            quantity = given.get(each.name)
            if isinstance(quantity, Quantity):
                given[each.name] = self._stock(each, quantity)
        return given

    def _stock(self, packing: Packing, quantity: Quantity) -> int | None:
        material = packing.material
        try:
            return stock_amount(
                quantity, counted=material.counted, density_g_ml=material.density_g_ml
            )
        except Refusal as refusal:
            self.add_error(packing.name, as_form_error(refusal))
            return None

    @property
    def packed(self) -> dict[int, int]:
        """What was used, by material id, in stock units."""
        return {each.material.pk: self.cleaned_data[each.name] for each in self.packing}

    @property
    def short_names(self) -> dict[str, str]:
        """Where what is short of a material stands."""
        return {f"materials.{each.material.code}": each.name for each in self.packing}

    @property
    def packing_fields(self) -> list[BoundField]:
        """The fields of what is packed with."""
        return [self[each.name] for each in self.packing]


@page(Capability.MAKE, once=True)
def release_page(request: HttpRequest, code: str) -> HttpResponse:
    """What is packed with what, then the release, which makes bars sellable."""
    batch = batch_by_code(code)
    if batch.state != BatchState.CUT:
        return another_step(request, batch, step="Release bars of")
    form = PackingForm(request.POST or None, packing=_packing(batch))
    if request.method == "POST" and form.is_valid():
        with faults_on(form, names=form.short_names):
            _tell(request, cure_batch(code, _cured(form), by=who(request)))
            return see_other(request, "batch-page", code)
    context = _context(batch, form, units=preferences_of(request.user).units)
    return form_page(request, "recipes/cure/release.html", context)


def _tell(request: HttpRequest, batch: Batch) -> None:
    bars = how_many(batch.bars_good or 0, "bar")
    held = open_holds(batch.bar_lot.pk) if batch.bar_lot else []
    if held:
        told = f"{bars} of {batch.code} are cured and packed, but not free yet. {remaining(held)}"
        messages.warning(request, told)
    else:
        messages.success(request, f"{bars} of {batch.code} may be sold now.")


def _packing(batch: Batch) -> list[Packing]:
    rows = [row for row in batch_rows(batch) if row.is_packing]
    needs = packing_needs(batch, rows)
    materials = {row.material_id: row.material for row in rows}
    return [
        Packing(
            material=material,
            needed=sum(needs[row.position] for row in rows if row.material_id == pk),
        )
        for pk, material in materials.items()
    ]


def _cured(form: PackingForm) -> Cured:
    given = form.cleaned_data
    return Cured(
        on=given["on"],
        packed=form.packed,
        minutes=given["minutes"],
        early_reason=given["early_reason"],
        note=given["note"],
    )


def _context(batch: Batch, form: PackingForm, *, units: str) -> dict[str, Any]:
    ready = batch.cure_ready_on
    on = form.cleaned_data.get("on") if form.is_bound else None
    label, no_label = label_of(cure_from(batch), units=units, sale_on=on or timezone.localdate())
    return {
        "batch": batch,
        "form": form,
        "blocked": beside_cure(batch),
        "of_trial": batch.bar_lot is not None and bool(still_of_trial(batch.bar_lot)),
        "is_early": ready is not None and (on or timezone.localdate()) < ready,
        "label": label,
        "no_label": no_label,
    }
