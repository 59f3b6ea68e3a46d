"""Molds: the shapes that soap is poured into."""

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from studio.foundation.model_fields import CodeField, FixedPointField, LengthField, VolumeField
from studio.models import Revised


class MoldShape(models.TextChoices):
    """Shapes of which the volume is computed; `measured` is filled with water and weighed."""

    RECTANGULAR = "rectangular"
    TAPERED = "tapered"
    CYLINDER = "cylinder"
    LYING_CYLINDER = "lying-cylinder"
    SLAB = "slab"
    MEASURED = "measured"


class Mold(Revised):
    """One mold, or a tray of `cavities` equal ones. Lengths in nm, volume in nL.

    A tapered mold has `length` x `width` at the bottom and `top_length` x `top_width` at the top.
    The cut grid: a loaf is cut into `rows` x `columns` x `layers` bars after `trim` is taken off
    both ends. In a slab, dividers of thickness `divider` stand between rows and columns.
    """

    code = CodeField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    shape = models.CharField(max_length=16, choices=MoldShape.choices)
    length = LengthField(null=True, blank=True)
    width = LengthField(null=True, blank=True)
    depth = LengthField(null=True, blank=True)
    top_length = LengthField(null=True, blank=True)
    top_width = LengthField(null=True, blank=True)
    diameter = LengthField(null=True, blank=True)
    divider = LengthField(default=0)
    measured_volume = VolumeField(null=True, blank=True)
    cavities = models.PositiveIntegerField(default=1)
    fill_height = LengthField(null=True, blank=True)
    overfill_share = FixedPointField(places=6, default=0)
    trim = LengthField(default=0)
    rows = models.PositiveIntegerField(default=1)
    columns = models.PositiveIntegerField(default=1)
    layers = models.PositiveIntegerField(default=1)
    note = models.TextField(blank=True, max_length=2000)
    active = models.BooleanField(default=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cavities__gte=1, rows__gte=1, columns__gte=1, layers__gte=1),
                name="mold_counts",
            ),
            models.CheckConstraint(
                condition=Q(overfill_share__gte=0, overfill_share__lt=1), name="mold_overfill"
            ),
            models.CheckConstraint(
                condition=~Q(shape="measured") | Q(measured_volume__gt=0),
                name="mold_measured_volume",
            ),
            models.CheckConstraint(
                condition=~Q(shape__in=["rectangular", "tapered", "slab"])
                | Q(length__gt=0, width__gt=0, depth__gt=0),
                name="mold_box_sides",
            ),
            models.CheckConstraint(
                condition=~Q(shape="tapered") | Q(top_length__gt=0, top_width__gt=0),
                name="mold_tapered_top",
            ),
            models.CheckConstraint(
                condition=~Q(shape="cylinder") | Q(diameter__gt=0, depth__gt=0),
                name="mold_cylinder_sides",
            ),
            models.CheckConstraint(
                condition=~Q(shape="lying-cylinder") | Q(diameter__gt=0, length__gt=0),
                name="mold_lying_cylinder_sides",
            ),
        ]

    def __str__(self) -> str:
        return self.name
