"""What was judged of batches again, when something that they rest on was known otherwise."""

from django.db import models
from django.db.models import Q

from recipes.models.bench.batches import Batch
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import FixedPointField


class Judgement(models.Model):
    """A batch judged again: what changed, and what that does to it, in words.

    `subject` ("lot:L-00012", "material:naoh") with its `name` is what changed, `changed` how.
    `words` say why the batch is unsafe, or that it is safe again; `superfat` is by the values of
    then, None where there is no fat. `reservation` is that of a batch which was not poured yet. The
    last one `stands`.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="judgements")
    reservation = models.ForeignKey(
        "inventory.Reservation", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    subject = models.CharField(max_length=60)
    name = models.CharField(max_length=200)
    changed = models.CharField(max_length=400)
    is_safe = models.BooleanField()
    words = models.CharField(max_length=500)
    superfat = FixedPointField(places=6, null=True, blank=True)
    stands = models.BooleanField(default=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["batch"],
                condition=Q(stands=True),
                name="one_standing_judgement_per_batch",
            )
        ]
        indexes = [
            models.Index(
                fields=["subject"],
                condition=Q(stands=True, is_safe=False),
                name="judgement_unsafe",
            )
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.words}"
