"""Kinds of material, and the ranges within which what is stated of materials can be true.

The ranges hold for materials, offers, lots and recipes alike. They catch slips (a value in another
unit, a percentage written as 97), not unusual materials: each is wider than what published
standards know.
"""

from enum import StrEnum


class MaterialKind(StrEnum):
    """The part a material plays in the studio; recipes and projections decide by it."""

    FAT = "fat"
    ALKALI = "alkali"
    LIQUID = "liquid"
    ACID = "acid"
    FRAGRANCE = "fragrance"
    COLORANT = "colorant"
    ADDITIVE = "additive"
    PACKAGING = "packaging"
    INTERMEDIATE = "intermediate"
    BATTER = "batter"
    BAR = "bar"


#: Made in the studio and never bought: no offers, no low-stock alert by default.
MADE_HERE = frozenset({MaterialKind.INTERMEDIATE, MaterialKind.BATTER, MaterialKind.BAR})
