"""Materials, suppliers and offers that tests of buying start from, made through the services."""

from decimal import Decimal
from itertools import count

from inventory.domain.catalog.descriptions import check_material
from inventory.domain.catalog.materials import MaterialKind
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.services.buying.orders import Ordered, OrderedLine, place_order
from inventory.services.catalog.materials import add_material
from inventory.services.catalog.suppliers import OfferDescription, save_offer, save_supplier
from studio.foundation.errors import Faults
from studio.foundation.model_fields import described as names_described
from studio.work.cleaning import take_field_faults
from tests.inventory.making import TODAY

_NUMBERS = count(1)
#: Exactly, by the international yard and pound agreement; NIST Handbook 44, appendix C.
POUND_NG = 453_592_370_000
#: 231 cubic inches; NIST Handbook 44, appendix C.
GALLON_ML = Decimal("3785.411784")


def described(code: str = "", **values: object) -> dict[str, object]:
    """The values of an oil of 0.915 g/mL unless told otherwise."""
    code = code or f"oil-{next(_NUMBERS)}"
    values.setdefault("name", code.capitalize())
    values.setdefault("kind", MaterialKind.FAT)
    if values["kind"] is MaterialKind.FAT:
        values.setdefault("density_g_ml", Decimal("0.915"))
        values.setdefault("sv_mg_koh_g", Decimal(190))
    return {"code": code, **values, "kind": values["kind"].value}


def impossible(material: Material) -> set[str]:
    """The fields of which a material's rules refuse the values. No query."""
    faults = Faults()
    take_field_faults(faults, material, only=names_described(Material))
    check_material(material, faults)
    return {fault.field for fault in faults.found}


def an_oil(code: str = "", **values: object) -> Material:
    return add_material(**described(code, **values))


def boxes(code: str = "", **values: object) -> Material:
    code = code or f"box-{next(_NUMBERS)}"
    return an_oil(code, kind=MaterialKind.PACKAGING, counted=True, **values)


def a_supplier(code: str = "", **values: object) -> Supplier:
    code = code or f"supplier-{next(_NUMBERS)}"
    values.setdefault("name", code.capitalize())
    return save_supplier(Supplier(code=code, **values))


def an_offer(
    supplier: Supplier, material: Material, pack: str, price: int = 10_000, **values: object
) -> Offer:
    values.setdefault("code", f"offer-{next(_NUMBERS)}")
    return save_offer(
        OfferDescription(
            supplier=supplier.code,
            material=material.code,
            pack_written=pack,
            price=price,
            **values,
        )
    )


def an_order(offer: Offer, packs: int, **values: object) -> PurchaseOrder:
    values.setdefault("ordered_on", TODAY)
    lines = [OrderedLine(offer=offer.code, packs=packs)]
    return place_order(Ordered(supplier=offer.supplier.code, lines=lines, **values))


def faults_of(refused: object) -> set[tuple[str, str]]:
    """The (code, field) pairs of a refusal caught by `pytest.raises`."""
    return {(fault.code, fault.field) for fault in refused.value.faults}
