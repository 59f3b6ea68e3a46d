"""The first steps of a new studio that concern the shelf, and the page of the shipped list."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from inventory.models.catalog.materials import Material
from inventory.models.receiving.deliveries import Delivery
from inventory.services.catalog import trade_list
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import form_page, see_other
from studio.web.pages.ruled import page, who
from studio.web.pages.start import STEPS, Step


def register_steps() -> None:
    """Materials and the first delivery."""
    STEPS.register(
        Step(
            "materials",
            "First materials",
            why="Choose from a list of fats and other materials with their published values; a "
            "lot's own certificate goes before them later.",
            done=Material.objects.exists,
            verb="Choose materials",
            pages=("first-materials-page",),
            order=20,
        )
    )
    STEPS.register(
        Step(
            "delivery",
            "A first delivery",
            why="What stands on the shelf comes in as a delivery, in the units of the invoice; "
            "freight and fees are spread over its lots.",
            done=Delivery.objects.exists,
            verb="Receive a delivery",
            pages=("receive-page", "shelf"),
            order=50,
        )
    )


@page(Capability.KEEP_STOCK)
def first_materials(request: HttpRequest) -> HttpResponse:
    """Materials of the shipped list to choose from."""
    trouble, chosen = "", set(request.POST.getlist("chosen"))
    if request.method == "POST":
        try:
            if not chosen:
                raise trade_list.NothingChosen("Tick at least one material.")
            made = trade_list.add_published(request.POST.getlist("chosen"), by=who(request))
        except Refusal as refusal:
            trouble = str(refusal)
        else:
            count = how_many(len(made), "material")
            messages.success(request, f"{count} added. Change their values as your lots tell you.")
            return see_other(request, "start-page")
    listed = trade_list.choices()
    context = {
        "groups": [
            ("Fats", [row for row in listed if row.is_fat]),
            ("Everything else", [row for row in listed if not row.is_fat]),
        ],
        "chosen": chosen,
        "trouble": trouble,
    }
    return form_page(request, "inventory/catalog/first_materials.html", context)
