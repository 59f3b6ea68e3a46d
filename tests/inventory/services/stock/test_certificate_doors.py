"""Whatever a certificate states comes to the same row through every door.

The values are drawn from the description, so one that is added is walked through all doors too.
"""

from dataclasses import asdict, fields, replace
from decimal import Decimal
from urllib.parse import unquote

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.allergens import SHARE_PLACES, Allergen
from inventory.domain.catalog.certificate import (
    CERTIFIED,
    NOT_CERTIFIED,
    VALUES,
    Certificate,
    check_certificate,
)
from inventory.domain.catalog.materials import RANGES, MaterialKind
from inventory.models.stock.lots import Lot
from inventory.pages.stock.lot_certificate import CertificateForm
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.certificates import certify_lot
from studio.foundation.errors import Faults
from tests.inventory.api.calls import Caller
from tests.inventory.buying import a_supplier, an_oil
from tests.inventory.making import KG, TODAY, make_lot
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import exported, imported, undone

pytestmark = pytest.mark.django_db


def measured(name):
    """Any value that can be true, as exact as it is kept."""
    limits, places = RANGES[name], VALUES[name].places
    least = limits.low + Decimal(1).scaleb(-places) if limits.above_low else limits.low
    return st.decimals(least, limits.high, places=places)


NAMES = st.text("abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=9)
ALLERGENS = st.dictionaries(NAMES, st.decimals("0.000001", "0.2", places=SHARE_PLACES), max_size=3)
CERTIFICATES = st.builds(
    Certificate,
    **{name: measured(name) for name in VALUES},
    allergens=ALLERGENS.map(lambda found: tuple(Allergen(*one) for one in found.items())),
)


def text(value):
    return None if value is None else f"{value:f}"


def body(certificate, names=CERTIFIED):
    """The certificate as a program writes it."""
    numbers = {name: text(getattr(certificate, name)) for name in names if name in VALUES}
    shares = certificate.allergens
    listed = [{"name": one.name, "share": text(one.share)} for one in shares or ()]
    return numbers if "allergens" not in names else {**numbers, "allergens": listed}


def through_api(lot, certificate):
    answer = Caller("maker").post(f"lots/{lot.code}/certificate/", body(certificate))
    assert answer.status_code == 200, answer.content
    for name in VALUES:
        assert Decimal(answer.json()[name]) == getattr(certificate, name)


def through_page(lot, certificate):
    """Typed as the form itself writes what is known of another lot with that certificate."""
    other = make_lot(lot.material, KG, certificate=certificate)
    form = CertificateForm(initial=CertificateForm.of(other))
    typed = {field.html_name: field.value() for field in form if field.value() is not None}
    place = reverse("lot-certificate-page", args=[lot.code])
    client = Client()
    client.force_login(person("maker"))
    answer = client.post(place, {**typed, "once": "door"})
    assert answer.status_code == 303, unquote(answer.content.decode())


def through_table(lot, certificate):
    """As a table of lots tells it of another lot that has it."""
    certify_lot(lot.pk, {name: getattr(certificate, name) for name in CERTIFIED})
    told = exported("lots", by=person())
    certify_lot(lot.pk, dict.fromkeys(CERTIFIED))
    assert Lot.objects.get(pk=lot.pk).certificate == NOT_CERTIFIED
    assert imported("lots", told, by=person(), mode="change").faults == []


def through_opening_table(lot, certificate):
    certify_lot(lot.pk, {name: getattr(certificate, name) for name in CERTIFIED})
    told = exported("lots", by=person()).replace(lot.code.encode(), b"opened")
    assert imported("lots", told, by=person()).faults == []
    return Lot.objects.get(code="opened")


def through_delivery(lot, certificate):
    line = ReceivedLine(
        material=lot.material.code, written="1 kg", price=1, certificate=certificate
    )
    receive_delivery(Received(supplier=a_supplier().code, received_on=TODAY, lines=[line]))
    return Lot.objects.latest("pk")


def through_delivery_by_api(lot, certificate):
    """An invoice's line has no allergens; they are certified afterwards."""
    stated = body(certificate, tuple(VALUES))
    line = {"material": lot.material.code, "written": "1 kg", "price": "1", **stated}
    supplier, day = a_supplier().code, TODAY.isoformat()
    given = {"supplier": supplier, "received_on": day, "lines": [line]}
    Caller("maker", see_costs=True).made("deliveries/", given)
    came = Lot.objects.latest("pk")
    return certify_lot(came.pk, {"allergens": certificate.allergens})


DOORS = (
    through_api,
    through_page,
    through_table,
    through_opening_table,
    through_delivery,
    through_delivery_by_api,
)


@pytest.mark.parametrize("door", DOORS)
@settings(max_examples=3, phases=[Phase.generate])
@given(certificate=CERTIFICATES)
def test_a_certificate_comes_to_the_same_row_through_every_door(door, certificate):
    with undone():
        # What it is tells its name; of no alkali a purity would be refused.
        lot = make_lot(an_oil(kind=MaterialKind.ADDITIVE, name="Lye water"), KG)
        came = door(lot, certificate) or Lot.objects.get(pk=lot.pk)
        came.refresh_from_db()
        assert came.certificate == certificate


@given(certificate=CERTIFICATES, name=st.sampled_from(sorted(VALUES)))
def test_what_can_be_true_has_no_fault_and_what_is_beyond_has_one(certificate, name):
    faults = Faults()
    check_certificate(faults, certificate)
    assert not faults.found
    beyond = replace(certificate, **{name: RANGES[name].high + 1})
    check_certificate(faults, beyond, under="lines.3")
    assert [(one.code, one.field) for one in faults.found] == [("out-of-range", f"lines.3.{name}")]


def test_the_description_is_whole():
    assert {*VALUES, "allergens"} == {one.name for one in fields(Certificate)}
    columns = {field.name for field in Lot._meta.fields}
    assert set(CERTIFIED) <= columns and set(asdict(NOT_CERTIFIED).values()) == {None}
    for name, value in VALUES.items():
        assert Lot._meta.get_field(name).places == value.places
        assert value.label and value.meaning
