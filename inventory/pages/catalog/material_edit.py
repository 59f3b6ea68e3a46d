"""Writing down a material, and changing what is known of it."""

from django.http import HttpRequest, HttpResponse

from inventory.models.catalog.materials import Material
from inventory.pages.catalog.material_form import MaterialForm
from inventory.queries.stock.lot_history import material_at
from inventory.services.catalog.materials import save_material
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, saved_by, see_other
from studio.web.pages.row_forms import expected_of
from studio.web.pages.ruled import page, who


@page(Capability.KEEP_STOCK)
def material_new(request: HttpRequest) -> HttpResponse:
    """Write down a material that the shipped list does not have."""
    return _edit(request, None)


@page(Capability.KEEP_STOCK)
def material_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is known of a material; what was made of it stays as it was."""
    return _edit(request, material_at(code))


def _edit(request: HttpRequest, kept: Material | None) -> HttpResponse:
    form = MaterialForm(request.POST or None, instance=kept)
    saved = saved_by(
        request,
        form,
        lambda: save_material(
            *form.given_row(),
            fatty_acids=form.cleaned_data["fatty_acids"],
            reason=form.cleaned_data.get("reason", ""),
            by=who(request),
            expected=expected_of(request),
        ),
    )
    if saved is not None:
        return see_other(request, "material-page", saved.code)
    return form_page(
        request, "inventory/catalog/material_edit.html", {"form": form, "material": kept}
    )
