"""What a lot consists of, by the API and on its page."""

from decimal import Decimal as D

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from tests.inventory.api.calls import Caller
from tests.inventory.making import KG, make_lot, make_material
from tests.inventory.queries.stock.test_contents import made_of

pytestmark = pytest.mark.django_db


def test_the_contents_of_a_lot_follow_a_certificate_at_once():
    olive = make_lot(make_material("olive", sv_mg_koh_g=D(190)), KG)
    clay = make_lot(make_material("clay", kind=Kind.COLORANT.value), KG)
    herbs = make_lot(make_material("herbs", kind=Kind.ADDITIVE.value), KG)
    blend = make_material("blend", kind=Kind.INTERMEDIATE.value)
    lot = made_of(
        blend,
        [(olive, KG * 8 // 10), (clay, KG * 2 // 10)],
        strained_out={herbs.pk: KG // 10},
    )
    caller = Caller("viewer")
    shown = caller.get(f"lots/{lot.code}/contents/").json()
    assert (shown["saponification_value"], shown["naoh"]) == ("152", "0")
    assert [one["share"] for one in shown["made_of"]] == ["0.8", "0.2"]
    assert shown["infused_with"] == ["Herbs"]
    certify_lot(olive.pk, {"sv_mg_koh_g": D(178)})
    again = caller.get(f"lots/{lot.code}/contents/").json()
    assert again["saponification_value"] == "142.4"
    assert caller.get("lots/none/contents/").status_code == 404


def test_a_fat_of_which_nobody_knows_a_value_makes_the_whole_unknown():
    butter = make_lot(make_material("butter"), KG)
    blend = made_of(make_material("blend", kind=Kind.INTERMEDIATE.value), [(butter, KG)])
    shown = Caller("viewer").get(f"lots/{blend.code}/contents/").json()
    assert shown["saponification_value"] is None
    assert Lot.objects.get(pk=blend.pk).steam == 0
