"""What kinds of place a studio keeps its lots in."""

from enum import StrEnum


class LocationKind(StrEnum):
    """A shelf, a rack where soap dries in moving air, or a cold place."""

    SHELF = "shelf"
    CURING_RACK = "curing-rack"
    COLD = "cold"
