"""Offers as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from inventory.domain.catalog.packs import MAX_PACKS, PriceBreak
from inventory.models.catalog.suppliers import LONGEST_LEAD_TIME_DAYS, Offer
from inventory.services.catalog.suppliers import OfferDescription, save_offer
from inventory.services.exchange.columns import MONEY, density_columns, text_column, yes_no_column
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Code, Day, Text, Whole
from studio.foundation.tables.listed import Listed
from studio.foundation.units.grammar import MAX_TEXT
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_SAME = tuple(
    field.name
    for field in fields(OfferDescription)
    if field.name not in ("supplier", "material", "breaks")
)

LAYOUT = Layout(
    (
        Column(
            "code",
            Code(),
            "the code by which the offer is found",
            "mill-lane-olive-1gal",
            needed=True,
        ),
        Column("supplier", Code(), "code of the supplier", "mill-lane", needed=True),
        Column("material", Code(), "code of the material", "olive-oil", needed=True),
        text_column("supplier_item", 60, "the supplier's own item number", "OO-1G"),
        Column(
            "pack_written",
            Text(MAX_TEXT),
            "one pack as the supplier writes it, with its unit: 1 gal, 35 lb, 12 each",
            "1 gal",
            needed=True,
            empty="",
        ),
        *density_columns("as the supplier states it"),
        Column("price", MONEY, "price of one pack", "38.5", needed=True, cost=True),
        Column(
            "price_breaks",
            Listed(first=Whole(2, MAX_PACKS, "packs"), second=MONEY, example="4 36.00; 12 33.50"),
            "from so many packs of an order on, each pack costs this",
            "4 36.00; 12 33.50",
            empty=(),
            cost=True,
        ),
        Column(
            "minimum_packs",
            Whole(1, MAX_PACKS, "packs"),
            "the fewest packs sold; empty: 1",
            "1",
            empty=1,
        ),
        Column(
            "lead_time_days",
            Whole(0, LONGEST_LEAD_TIME_DAYS, "in days"),
            "from order to delivery; empty: the supplier's",
        ),
        Column("valid_from", Day(), "first day of the offer"),
        Column("valid_until", Day(), "last day of the offer"),
        yes_no_column("active", "whether it can be ordered", empty=True, example="yes"),
    )
)


def take_offer(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one offer as its row says."""
    (row,) = rows
    found = Offer.objects.select_related("supplier", "material")
    kept = found.filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    given = dict(row.values)
    if "price_breaks" in given:
        given["breaks"] = tuple(PriceBreak(*each) for each in given.pop("price_breaks"))
    if kept is None:
        save_offer(OfferDescription(**given), by=taking.by)
        return Outcome.CREATED
    was = _described(kept)
    described = replace(was, **given)
    if described == was:
        return Outcome.UNCHANGED
    save_offer(described, offer_id=kept.pk, by=taking.by)
    return Outcome.CHANGED


def offer_rows() -> Iterator[Mapping[str, Any]]:
    """All offers. One query."""
    for offer in Offer.objects.select_related("supplier", "material").order_by("code"):
        yield {
            **{name: getattr(offer, name) for name in _SAME},
            "supplier": offer.supplier.code,
            "material": offer.material.code,
            "price_breaks": [(each.from_packs, each.price) for each in offer.breaks],
        }


def _described(offer: Offer) -> OfferDescription:
    return OfferDescription(
        supplier=offer.supplier.code,
        material=offer.material.code,
        breaks=offer.breaks,
        **{name: getattr(offer, name) for name in _SAME},
    )


OFFERS = ExchangeTable(
    name="offers",
    title="Offers",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=offer_rows,
    take=take_offer,
)
