"""Search finds materials, lots and suppliers by name or code."""

from django.db.models import Q

from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Lot
from studio.web.pages.places import page_address
from studio.web.pages.search import FINDERS, Finder, Found


def register_finders() -> None:
    """Materials, lots and suppliers."""
    FINDERS.register(
        Finder("materials", "Materials", find=find_materials, by_code=material_address, order=10)
    )
    FINDERS.register(Finder("lots", "Lots", find=find_lots, by_code=lot_address, order=20))
    FINDERS.register(Finder("suppliers", "Suppliers", find=find_suppliers, order=60))


def find_materials(text: str, limit: int) -> list[Found]:
    """Materials whose name, code or INCI name holds the text. One query."""
    rows = Material.objects.filter(
        Q(name__icontains=text) | Q(code__icontains=text) | Q(inci_name__icontains=text)
    )
    return [
        Found(
            row.name,
            row.code,
            "" if row.active else "no longer used",
            page_address("material-page", row.code),
        )
        for row in rows.order_by("-active", "name", "id")[:limit]
    ]


def find_lots(text: str, limit: int) -> list[Found]:
    """Lots whose code, supplier's lot or material holds the text, the newest first. One query."""
    rows = Lot.objects.filter(
        Q(code__icontains=text)
        | Q(supplier_lot__icontains=text)
        | Q(material__name__icontains=text)
    ).select_related("material")
    return [
        Found(row.material.name, row.code, _note(row), page_address("lot-page", row.code))
        for row in rows.order_by("-id")[:limit]
    ]


def _note(lot: Lot) -> str:
    words = LotState(lot.state).value
    if lot.supplier_lot:
        words += f", supplier's lot {lot.supplier_lot}"
    return words if lot.on_hand else f"{words}, used up"


def find_suppliers(text: str, limit: int) -> list[Found]:
    """Suppliers whose name or code holds the text. One query."""
    rows = Supplier.objects.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return [
        Found(row.name, row.code, "", page_address("supplier-page", row.code))
        for row in rows.order_by("name", "id")[:limit]
    ]


def material_address(code: str) -> str:
    """The page of the material with exactly this code, or "". One query."""
    found = Material.objects.filter(code__iexact=code).values_list("code", flat=True).first()
    return page_address("material-page", found) if found else ""


def lot_address(code: str) -> str:
    """The page of the lot with exactly this code, or "". One query."""
    found = Lot.objects.filter(code__iexact=code).values_list("code", flat=True).first()
    return page_address("lot-page", found) if found else ""
