"""Rows that belong to the studio as a whole: who may do what, numbering, answered requests."""

from django.db import models


class Revised(models.Model):
    """Master data that people edit: `revision` goes up by one with each update (for If-Match)."""

    revision = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        abstract = True


class Numbering(models.Model):
    """The last number given out under a prefix, for the studio's own codes (L-00042, B-00007)."""

    prefix = models.CharField(max_length=16, primary_key=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.prefix}-{self.last:05d}"
