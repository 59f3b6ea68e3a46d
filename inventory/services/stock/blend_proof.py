"""The proof of blends: what went in was used up, and the alkali that went in came out again.

Composition is worked out from links, steam and certificates, so these have to agree with the
entries and with each other: components in = components out (any textbook of process calculation).
"""

from collections import defaultdict
from decimal import Decimal

from django.db import connection
from django.db.models import Q

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.unusual import PURITY_OF_PARTS
from inventory.domain.stock.contents import Contents
from inventory.domain.stock.contradictions import differs
from inventory.domain.stock.leaves import Span
from inventory.models.stock.lots import Lot, LotLink
from inventory.queries.stock.certificates import confirmed_lots
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.proof import CHECKS, Check, Difference

#: A titration, a certificate and the scale are each right within a percent (common practice, no
#: source).
TITRATED_WITHIN = Decimal("1.03")
#: The whole numbers that masses are kept in, and the digits of a share, leave less than that.
ROUNDED_NG = 1_000
_NOT_LINKED = """
SELECT lot.code, moved.reference, material.counted, SUM(moved.linked), SUM(moved.used)
FROM (
    SELECT parent_id AS lot_id, reference, amount AS linked, 0 AS used FROM inventory_lotlink
    UNION ALL
    SELECT lot_id, reference, 0, -on_hand FROM inventory_stockentry WHERE verb = 'consume'
) moved
JOIN inventory_lot lot ON lot.id = moved.lot_id
JOIN inventory_material material ON material.id = lot.material_id
WHERE moved.reference LIKE 'batch:%'
GROUP BY lot.code, moved.reference, material.counted
HAVING SUM(moved.linked) <> SUM(moved.used)
ORDER BY lot.code, moved.reference
"""


def links_against_use() -> list[Difference]:
    """Lots of which a batch used another amount than what it made has of them. One query."""
    with connection.cursor() as cursor:
        cursor.execute(_NOT_LINKED)
        return [
            Difference(
                lot=code,
                what=f"what went into the lots of {document}",
                unit="each" if counted else "g",
                on_row=int(linked),
                in_books=int(used),
            )
            for code, document, counted, linked, used in cursor.fetchall()
        ]


def alkali_against_its_parts() -> list[Difference]:
    """Blends that hold another mass of pure alkali than the part of what went in that came out.

    Steam takes no alkali along, and what stayed in the pot takes its share. Where the strength was
    measured it goes before that, but is no more than all that went in, as pure as that may be, and
    no less than their part within what agrees; unless somebody confirmed that it is. Only blends
    that lost steam or were measured can differ: one query, and four more where there are any.
    """
    doubtful = Q(steam__gt=0) | Q(purity__isnull=False)
    made = Lot.objects.filter(doubtful, material__kind=MaterialKind.INTERMEDIATE.value)
    blends = {
        lot.pk: lot
        for lot in made.filter(material__counted=False, links_from__isnull=False).distinct()
    }
    if not blends:
        return []
    went_in: dict[int, list[LotLink]] = defaultdict(list)
    links = LotLink.objects.filter(child__in=made, stays=True).select_related("parent__material")
    for link in links:
        went_in[link.child_id].append(link)
    inside = contents_of({*blends, *(link.parent_id for link in links)})
    kept = confirmed_lots(*blends)
    found = (
        _difference(lot, went_in[pk], inside)
        for pk, lot in sorted(blends.items())
        if (pk, PURITY_OF_PARTS, lot.certificate.purity) not in kept
    )
    return [difference for difference in found if difference is not None]


def _difference(lot: Lot, links: list[LotLink], inside: dict[int, Contents]) -> Difference | None:
    parts = [
        (link.parent.material.mass_of(link.amount), _alkali(inside[link.parent_id]))
        for link in links
    ]
    mass = sum(part for part, _ in parts)
    held = _alkali(inside[lot.pk]).usual * lot.received_amount
    went = sum((part * alkali.usual for part, alkali in parts), Decimal(0))
    stays = went * (lot.received_amount + lot.steam) / mass if mass else Decimal(0)
    if lot.certificate.purity is not None:
        if held < stays and differs(held, stays):
            return _differs(lot, held, stays, "measured")
        most = sum((part * alkali.high for part, alkali in parts), Decimal(0)) * TITRATED_WITHIN
        if not mass or held <= most + ROUNDED_NG:
            return None
        return _differs(lot, held, most, "measured")
    if abs(held - stays) <= ROUNDED_NG:
        return None
    return _differs(lot, held, stays, "by its parts and steam")


def _alkali(contents: Contents) -> Span:
    return contents.naoh + contents.koh


def _differs(lot: Lot, held: Decimal, went: Decimal, how: str) -> Difference:
    return Difference(
        lot=lot.code,
        what=f"pure alkali in it, {how},",
        unit="g",
        on_row=round(held),
        in_books=round(went),
    )


def register_checks() -> None:
    """Make the proof of blends known."""
    CHECKS.register(Check(name="what went in", find=links_against_use))
    CHECKS.register(Check(name="alkali through blends", find=alkali_against_its_parts))
