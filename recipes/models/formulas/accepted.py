"""Who accepted that a version of a recipe may be lye-heavy at its worst."""

from django.db import models
from django.db.models import Q

from recipes.models.formulas.formulas import FormulaVersion
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import FixedPointField


class AcceptedWorst(models.Model):
    """That a superfat as low as `worst` was accepted of a version, by whom and when.

    Withdrawn once the version is written anew, since it was accepted of what it said before.
    """

    version = models.ForeignKey(
        FormulaVersion, on_delete=models.PROTECT, related_name="accepted_worst"
    )
    worst = FixedPointField(places=6)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(worst__lt=0), name="accepted_worst_below_zero"),
            models.UniqueConstraint(
                fields=["version", "worst"],
                condition=Q(withdrawn_at__isnull=True),
                name="one_acceptance_a_figure",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version_id}: {self.worst}"
