"""Rows that inventory tests start from; each function makes one thing through the services."""

from datetime import date
from itertools import count

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.holds import asked_for
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots

TODAY = date(2026, 3, 2)
KG = 10**12
_NUMBERS = count(1)


def make_material(code: str = "", *, counted: bool = False, **values: object) -> Material:
    code = code or f"material-{next(_NUMBERS)}"
    values.setdefault("name", code.replace("-", " ").capitalize())
    values.setdefault("kind", MaterialKind.FAT.value)
    return Material.objects.create(code=code, counted=counted, **values)


def make_lot(
    material: Material,
    amount: int,
    cost: int = 0,
    *,
    state: LotState = LotState.RELEASED,
    state_reason: str = "as asked",
    **values: object,
) -> Lot:
    holds = asked_for(state, state_reason)
    values = {"received_on": TODAY, "certificate": Certificate.out_of(values)} | values
    values.setdefault("holds", holds)
    new = NewLot(material=material, amount=amount, cost=cost, **values)
    return open_lots([new], verb=Verb.RECEIVE, origin=Origin(reference="test"))[0]
