"""The pour: in which order the portions go into the mold, how much of each, and where they lie.

A layer is poured across the whole mold or against one third of its width. What is poured across
finds its level over what lies below; in a third it rises there alone, as thick batter does (thin
batter runs level: common practice, no source). Heights follow from the volume of the mold.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from recipes.domain.formulas.formula import SHARE_PLACES, Portion, weight_of
from recipes.domain.molds.sections import Section
from studio.foundation.errors import Faults
from studio.foundation.hints import Share
from studio.foundation.money import split

MOST_LAYERS = 30


class Place(StrEnum):
    """Where a layer is poured, as seen in the cross-section."""

    ACROSS = "across"
    LEFT = "left"
    MIDDLE = "middle"
    RIGHT = "right"


#: The thirds of the width in which a place lies.
THIRDS = {
    Place.ACROSS: (0, 1, 2),
    Place.LEFT: (0,),
    Place.MIDDLE: (1,),
    Place.RIGHT: (2,),
}


@dataclass(frozen=True, slots=True)
class Layer:
    """One pour: `share` of a portion, and where. `note` says how (thin stream, over a spoon)."""

    portion: str
    share: Share
    place: Place = Place.ACROSS
    note: str = ""


@dataclass(frozen=True, slots=True)
class Pour:
    """How a batter is split and in which layers it is poured."""

    portions: tuple[Portion, ...] = ()
    layers: tuple[Layer, ...] = ()

    def share_of(self, name: str) -> Decimal:
        """The share of a portion; the whole batter for a name that no portion has."""
        return next((part.share for part in self.portions if part.name == name), Decimal(1))


NOT_SPLIT = Pour()


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From one height to another in one third of the mold, in nm."""

    third: int
    bottom_nm: int
    top_nm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PouredLayer:
    """A layer with its mass in ng and the spans that it fills; no spans where nothing is drawn."""

    layer: Layer
    mass_ng: int
    spans: tuple[Span, ...] = ()


def check_layers(layers: Sequence[Layer], portions: Sequence[Portion], faults: Faults) -> None:
    """Add what is wrong with a pour order: each portion must be poured wholly, if any is."""
    known = {portion.name for portion in portions}
    poured: dict[str, Decimal] = dict.fromkeys(known, Decimal(0))
    if len(layers) > MOST_LAYERS:
        faults.add("too-many-layers", f"At most {MOST_LAYERS} layers.", "layers")
    for index, layer in enumerate(layers):
        path = f"layers.{index}"
        if layer.portion not in known:
            faults.add(
                "unknown-portion", f"There is no portion '{layer.portion}'.", f"{path}.portion"
            )
        if not (layer.share.is_finite() and 0 < layer.share <= 1):
            faults.add("layer-share", "A share above 0 and at most 100 %.", f"{path}.share")
        elif int(layer.share.as_tuple().exponent) < -SHARE_PLACES:
            faults.add("too-precise", f"At most {SHARE_PLACES} places are kept.", f"{path}.share")
        elif layer.portion in known:
            poured[layer.portion] += layer.share
    for name, total in poured.items():
        if layers and total != 1:
            faults.add(
                "portion-not-poured-wholly",
                f"The layers pour {(total * 100).normalize():f} % of '{name}'; it must be 100 %.",
                "layers",
                portion=name,
            )


def pour_order(layers: Sequence[Layer], portions: Sequence[Portion]) -> tuple[Layer, ...]:
    """The layers as written; where none are, each portion across the mold in its order."""
    if layers:
        return tuple(layers)
    return tuple(Layer(portion.name, Decimal(1)) for portion in portions)


def layer_masses(layers: Sequence[Layer], portions_ng: dict[str, int]) -> tuple[int, ...]:
    """The mass of each layer in ng; the layers of a portion sum to the portion exactly."""
    masses = [0] * len(layers)
    for name, whole in portions_ng.items():
        places = [index for index, layer in enumerate(layers) if layer.portion == name]
        if places:
            parts = split(whole, [weight_of(layers[index].share) for index in places])
            for index, part in zip(places, parts, strict=True):
                masses[index] = part
    return tuple(masses)


def stack(
    layers: Sequence[Layer],
    masses_ng: Sequence[int],
    *,
    section: Section,
    fill_height_nm: int,
) -> tuple[PouredLayer, ...]:
    """Where the layers lie when all of them together fill the mold to `fill_height_nm`.

    Each takes the share of that volume which it has of the mass. A third that is full sheds what
    is left beside it. The last layer ends at the fill line everywhere.
    """
    tops = [0, 0, 0]
    total = sum(masses_ng)
    poured: list[PouredLayer] = []
    whole = section.volume(fill_height_nm)
    for layer, mass in zip(layers, masses_ng, strict=True):
        before = list(tops)
        room = whole * mass / total if total else 0.0
        for thirds in (THIRDS[layer.place], THIRDS[Place.ACROSS]):
            room = _raise(tops, thirds, room, section, fill_height_nm)
        poured.append(
            PouredLayer(layer=layer, mass_ng=mass, spans=_spans(before, tops)),
        )
    return tuple(poured)


def edges_of(
    section: Section, spans: Sequence[Span]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """The lines around a layer: level ones, and upright ones where its thirds do not meet.

    From point to point in nm, across from the middle and up from the bottom.
    """
    lines = []
    for span in spans:
        for height in (span.bottom_nm, span.top_nm):
            start, end = section.third_at(span.third, height)
            lines.append(((start, float(height)), (end, float(height))))
    by_third = {span.third: (span.bottom_nm, span.top_nm) for span in spans}
    for left in (0, 1):
        first, second = by_third.get(left, (0, 0)), by_third.get(left + 1, (0, 0))
        # Where only one of the two has the layer lies between the lower and the upper two ends.
        ends = sorted((*first, *second))
        x = (left * 2 - 1) * section.width_nm / 6
        for low, high in ((ends[0], ends[1]), (ends[2], ends[3])):
            if high > low:
                lines.append(((x, float(low)), (x, float(high))))
    return lines


def _raise(
    tops: list[int], thirds: Sequence[int], volume: float, section: Section, limit_nm: int
) -> float:
    """Fill `volume` into the thirds up to one level, at most `limit_nm`; return what is left."""
    below = {third: section.volume_of_third(third, tops[third]) for third in thirds}

    def taken(level_nm: int) -> float:
        return sum(
            max(section.volume_of_third(third, level_nm) - below[third], 0.0) for third in thirds
        )

    if volume <= 0:
        return 0.0
    level = bisect_left(range(limit_nm), volume, key=taken)
    room = taken(level)
    for third in thirds:
        tops[third] = max(tops[third], level)
    return max(volume - room, 0.0)


def _spans(before: Sequence[int], after: Sequence[int]) -> tuple[Span, ...]:
    return tuple(
        Span(third=third, bottom_nm=bottom, top_nm=top)
        for third, (bottom, top) in enumerate(zip(before, after, strict=True))
        if top > bottom
    )
