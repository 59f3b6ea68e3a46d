"""Unusual values of certificates: asked about once, and kept with who confirmed them."""

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from inventory.domain.catalog.unusual import UNUSUAL, check_unusual, unusual
from inventory.models.stock.confirmations import CertificateConfirmation
from inventory.models.stock.lots import Lot
from studio.foundation.errors import Faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def ask_about(
    faults: Faults, lot: Lot, stated: Collection[str], *, confirmed: Collection[str]
) -> None:
    """Add a fault for each unusual value among those `stated` that nobody confirmed of this lot."""
    found = unusual(lot.certificate, lot.material)
    if not found:
        return
    kept = set(lot.confirmations.values_list("code", "value"))
    meant = {
        code
        for code in UNUSUAL
        if code in confirmed
        or UNUSUAL[code] not in stated
        or any((each.code, each.value) in kept for each in found if each.code == code)
    }
    check_unusual(faults, lot.certificate, lot.material, confirmed=meant)


def keep_confirmed(
    lots: Iterable[Lot], *, confirmed: Collection[str], by: "User | None" = None
) -> None:
    """Keep what was confirmed of the unusual values of these lots. One query, none for nothing."""
    rows = [
        CertificateConfirmation(lot=lot, code=each.code, value=each.value, by=by)
        for lot in lots
        for each in unusual(lot.certificate, lot.material)
        if each.code in confirmed
    ]
    if rows:
        # Who confirmed a value first stays.
        CertificateConfirmation.objects.bulk_create(rows, ignore_conflicts=True)
