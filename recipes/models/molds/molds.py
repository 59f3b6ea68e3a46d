"""Molds: the shapes that soap is poured into."""

from django.db import models
from django.db.models import Q

from recipes.domain.weighing import MOST_BARS
from studio.foundation.model_fields import (
    Between,
    CodeField,
    LengthField,
    ShareField,
    VolumeField,
    rules,
    said,
)
from studio.models import Revised

COUNT = Between(1, MOST_BARS, "At least one is needed.", code="not-positive")


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

    code = said(
        CodeField(max_length=40, unique=True),
        "Code",
        meaning="the code by which the mold is found",
        example="loaf-10in",
    )
    name = said(
        models.CharField(max_length=120),
        "Name",
        meaning="its name",
        example="Ten-inch loaf",
    )
    shape = said(
        models.CharField(max_length=16, choices=MoldShape.choices),
        "Shape",
        meaning="its shape; a measured one was filled with water, which was weighed",
        example="rectangular",
    )
    length = said(
        LengthField(null=True, blank=True),
        "Length inside",
        "240 mm, 9 1/2 in",
        meaning="inner length, of a tapered mold at the bottom",
        example="10 in",
    )
    width = said(
        LengthField(null=True, blank=True),
        "Width inside",
        meaning="inner width, of a tapered mold at the bottom",
        example="3 1/2 in",
    )
    depth = said(
        LengthField(null=True, blank=True),
        "Depth inside",
        meaning="inner depth, of a standing tube its height",
        example="2 1/2 in",
    )
    top_length = said(
        LengthField(null=True, blank=True),
        "Length at the top",
        meaning="inner length of a tapered mold at the top",
    )
    top_width = said(
        LengthField(null=True, blank=True),
        "Width at the top",
        meaning="inner width of a tapered mold at the top",
    )
    diameter = said(
        LengthField(null=True, blank=True),
        "Diameter inside",
        meaning="inner diameter of a tube",
    )
    divider = said(
        LengthField(default=0, blank=True),
        "Thickness of the dividers",
        meaning="thickness of the dividers of a slab mold",
    )
    measured_volume = said(
        VolumeField(null=True, blank=True),
        "Volume",
        "Fill it with water and measure: 1.2 L, 40 fl oz.",
        meaning="volume of a measured mold, of one cavity where it has several",
    )
    cavities = said(
        models.PositiveIntegerField(default=1, validators=[COUNT]),
        "Equal cavities",
        meaning="how many equal molds or cavities are filled at once; empty: 1",
        unit="one or more",
        example="1",
    )
    fill_height = said(
        LengthField(null=True, blank=True),
        "Filled to",
        "From the bottom; empty: to the rim.",
        meaning="up to where it is filled; empty: to the rim",
        example="2 1/4 in",
    )
    overfill_share = said(
        ShareField(default=0, blank=True),
        "Batter made beyond it",
        "So that the mold is surely full.",
        meaning="batter made beyond what fills it",
        example="0.02",
    )
    trim = said(
        LengthField(default=0, blank=True),
        "Cut off at each end",
        meaning="cut off each end of a loaf",
        example="0.25 in",
    )
    rows = said(
        models.PositiveIntegerField(default=1, validators=[COUNT]),
        "Cut along its length into",
        meaning="bars along the length; empty: 1",
        unit="one or more",
        example="10",
    )
    columns = said(
        models.PositiveIntegerField(default=1, validators=[COUNT]),
        "Cut across into",
        meaning="bars along the width; empty: 1",
        unit="one or more",
        example="1",
    )
    layers = said(
        models.PositiveIntegerField(default=1, validators=[COUNT]),
        "Cut flat into",
        meaning="bars along the height; empty: 1",
        unit="one or more",
        example="1",
    )
    note = said(
        models.TextField(blank=True, max_length=2000),
        "Note",
        meaning="anything else",
    )
    active = said(
        models.BooleanField(default=True),
        "In use",
        meaning="whether it is still used",
        example="yes",
    )

    class Meta:
        ordering = ["code"]
        constraints = rules(
            mold_counts=Q(cavities__gte=1, rows__gte=1, columns__gte=1, layers__gte=1),
            mold_overfill=Q(overfill_share__gte=0, overfill_share__lt=1),
            mold_measured_volume=~Q(shape="measured") | Q(measured_volume__gt=0),
            mold_box_sides=~Q(shape__in=["rectangular", "tapered", "slab"])
            | Q(length__gt=0, width__gt=0, depth__gt=0),
            mold_tapered_top=~Q(shape="tapered") | Q(top_length__gt=0, top_width__gt=0),
            mold_cylinder_sides=~Q(shape="cylinder") | Q(diameter__gt=0, depth__gt=0),
            mold_lying_cylinder_sides=~Q(shape="lying-cylinder") | Q(diameter__gt=0, length__gt=0),
        )

    def __str__(self) -> str:
        return self.name
