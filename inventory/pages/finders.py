"""Search finds materials, lots and suppliers by name or code."""

from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Lot
from studio.web.pages.search import FINDERS, Finder, Rows


def _of_material(material: Material) -> str:
    return "" if material.active else "no longer used"


def _of_lot(lot: Lot) -> str:
    words = LotState(lot.state).value
    if lot.supplier_lot:
        words += f", supplier's lot {lot.supplier_lot}"
    return words if lot.on_hand else f"{words}, used up"


MATERIALS = Rows(
    of=Material.objects.all(),
    page="material-page",
    columns=("name", "code", "inci_name"),
    order_by=("-active", "name", "id"),
    note=_of_material,
)
LOTS = Rows(
    of=Lot.objects.select_related("material"),
    page="lot-page",
    columns=("code", "supplier_lot", "material__name"),
    called="material.name",
    order_by=("-id",),
    note=_of_lot,
)
SUPPLIERS = Rows(of=Supplier.objects.all(), page="supplier-page")


def register_finders() -> None:
    """Materials, lots and suppliers; those are never stood before for their code alone."""
    FINDERS.register(MATERIALS.finder("materials", order=10))
    FINDERS.register(LOTS.finder("lots", order=20))
    FINDERS.register(Finder("suppliers", "Suppliers", find=SUPPLIERS.find, order=60))
