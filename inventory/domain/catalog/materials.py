"""What kinds of material a studio keeps."""

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
