"""Unusual values of certificates that somebody read again and confirmed."""

from django.db import models

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import FixedPointField


class CertificateConfirmation(models.Model):
    """That a lot's certificate really states this value, by whom and when. Another value, or the
    same one of another lot, is asked about anew.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="confirmations")
    code = models.CharField(max_length=40, choices=[(code, code) for code in UNUSUAL])
    value = FixedPointField(places=6)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "code", "value"], name="one_confirmation_per_value"
            )
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.code} {self.value}"
