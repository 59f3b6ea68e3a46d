"""A dearer oil is received; the margin watch tells which prices fell, and they are restored."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import transaction
from django.utils import timezone

from costing.services.prices.margin_watch import KIND
from costing.services.prices.prices import PriceDescription, set_prices
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.packs import PriceBreak
from inventory.queries.alerts.alerts import open_alerts
from inventory.queries.catalog.offers import current_offers
from inventory.queries.receiving.deliveries import find_delivery
from inventory.services.catalog.suppliers import OfferDescription, save_offer
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from studio.foundation.money import parse_money
from studio.management.demo.alerts import looked_since, show_closed
from studio.management.demo.scenario import read
from studio.management.demo.tables import Printer, money, percent
from studio.work.serving import Service

_KEPT = (
    "code",
    "pack_written",
    "supplier_item",
    "density_g_ml",
    "density_temperature_c",
    "minimum_packs",
    "lead_time_days",
    "valid_from",
    "valid_until",
    "active",
)
_CENT = 100


def receive_rise(printer: Printer, service: Service, today: date) -> bool:
    """Take in the dearer oil, wait for the watch, restore the prices; false if no worker came."""
    rise = read("demo/selling")["rise"][0]
    by = Decimal(rise["by"])
    printer.step(
        f"{rise['name']} rises by {percent(by, 0)}",
        "The new prices come with a delivery; a worker is woken and tells which prices of the "
        "list fell under their floor, and what would restore each.",
    )
    if find_delivery(supplier=rise["supplier"], invoice=rise["invoice"]) is not None:
        printer.say("It was received in an earlier walk, and the prices were restored.")
        return True
    # In one go: a look between two offers would tell a price that restores too little.
    with transaction.atomic():
        _dearer_offers(rise["material"], by, today)
        _receive(rise, today)
    if not looked_since(service, timezone.now(), kind=KIND):
        printer.say("The worker did not answer in time; 'manage.py serve' runs the job later.")
        return False
    _show(printer)
    _restore(today)
    printer.say("The owner asks the restoring prices from today on.")
    return show_closed(printer, service)


def _dearer_offers(material: str, by: Decimal, today: date) -> None:
    """Every supplier's new price list, to the cent."""
    offers = current_offers(today).filter(material__code=material)
    for offer in offers.select_related("supplier"):
        described = OfferDescription(
            supplier=offer.supplier.code,
            material=material,
            price=_moved(offer.price, by),
            breaks=[PriceBreak(b.from_packs, _moved(b.price, by)) for b in offer.breaks],
            **{name: getattr(offer, name) for name in _KEPT},
        )
        save_offer(described, offer_id=offer.pk)


def _moved(price: int, by: Decimal) -> int:
    return round(Fraction(price) * (1 + Fraction(by)) / _CENT) * _CENT


def _receive(rise: Mapping[str, Any], today: date) -> None:
    line = ReceivedLine(
        offer=rise["offer"],
        packs=1,
        supplier_lot=rise["supplier_lot"],
        certificate=Certificate(sv_mg_koh_g=Decimal(rise["sv"])),
    )
    receive_delivery(
        Received(
            supplier=rise["supplier"],
            received_on=today,
            invoice=rise["invoice"],
            lines=[line],
            charges=[],
            note="Invented for the demonstration.",
        )
    )


def _show(printer: Printer) -> None:
    alerts = open_alerts(kind=KIND)
    printer.table(
        ["Fell under its floor", ">Price", ">Floor", ">Restored by", "Why"],
        (
            (
                alert.name,
                money(parse_money(alert.figures["price"])),
                money(parse_money(alert.figures["floor"])),
                money(parse_money(alert.figures["restoring_price"])),
                alert.reason,
            )
            for alert in alerts
        ),
    )
    digest = next((alert.digest for alert in alerts if alert.digest), None)
    if digest is not None:
        printer.say(f'Told once, by mail: "{digest.subject}"')


def _restore(today: date) -> None:
    set_prices(
        [
            PriceDescription(
                product=alert.figures["product"],
                tier=alert.figures["tier"],
                from_quantity=alert.figures["quantity"],
                price=parse_money(alert.figures["restoring_price"]),
                effective_from=today,
            )
            for alert in open_alerts(kind=KIND)
        ]
    )
