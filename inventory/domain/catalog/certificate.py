"""What a lot's certificate of analysis states, each value described once.

The columns of a lot, the fields of the API and of the page, the columns of tables in and out and
every check follow from the fields of `Certificate`: one value more is a field here and its range.
"""

from collections.abc import Collection, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import Any, Self

from inventory.domain.catalog.alkalis import alkali_in
from inventory.domain.catalog.allergens import Allergen, check_allergens
from inventory.domain.catalog.materials import RANGES, MaterialKind, check_ranges
from studio.foundation.errors import Faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A measured value as people and tables know it; without a unit it is a share, 0.05 for 5 %.

    `meaning` is for tables, `short` the label where there is little room. What only `qualifies`
    another value (a density's temperature) is shown with that one.
    """

    label: str
    meaning: str
    places: int
    unit: str = ""
    short: str = ""
    example: str = ""
    qualifies: bool = False

    @property
    def is_share(self) -> bool:
        """Whether it is a fraction of 1, which people write in percent."""
        return not self.unit


def _of(label: str, meaning: str, *, places: int = 6, **more: Any) -> Mapping[str, Value]:
    return {"value": Value(label=label, meaning=meaning, places=places, **more)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """What is certified of one lot and goes before the material's nominal values; None: not stated.

    An empty tuple of allergens states that there are none.
    """

    density_g_ml: Decimal | None = field(
        default=None,
        metadata=_of(
            "Density",
            "density by its certificate, by which volumes are weighed",
            unit="g/mL",
            example="0.915",
        ),
    )
    density_temperature_c: Decimal | None = field(
        default=None,
        metadata=_of(
            "at °C",
            "temperature of that density",
            unit="degrees Celsius",
            places=3,
            example="20",
            qualifies=True,
        ),
    )
    sv_mg_koh_g: Decimal | None = field(
        default=None,
        metadata=_of(
            "Saponification value",
            "saponification value by its certificate",
            unit="mg KOH/g",
            places=3,
            example="189.4",
        ),
    )
    iodine_value: Decimal | None = field(
        default=None,
        metadata=_of("Iodine value", "iodine value by its certificate", unit="g/100 g", places=3),
    )
    purity: Decimal | None = field(
        default=None, metadata=_of("Purity", "pure alkali by its certificate", example="0.985")
    )
    water_share: Decimal | None = field(
        default=None, metadata=_of("Water", "water by its certificate")
    )
    ifra_category9_max: Decimal | None = field(
        default=None,
        metadata=_of(
            "Most in a rinse-off product (IFRA category 9)",
            "certified maximum in soap, IFRA category 9",
            short="Most in a rinse-off product (IFRA 9)",
        ),
    )
    allergens: tuple[Allergen, ...] | None = None

    @classmethod
    def out_of(cls, read: dict[str, Any]) -> Self:
        """The certificate among values read by name; they are taken out of `read`."""
        return cls(**{name: read.pop(name) for name in CERTIFIED if name in read})


NOT_CERTIFIED = Certificate()
#: All that a certificate states, and of it what is a number, with its description.
CERTIFIED = tuple(one.name for one in fields(Certificate))
VALUES: Mapping[str, Value] = {
    one.name: one.metadata["value"] for one in fields(Certificate) if one.metadata
}
assert VALUES.keys() <= RANGES.keys(), "each value needs its range"


def check_certificate(
    faults: Faults,
    certificate: Certificate,
    *,
    material: Any = None,
    stated: Collection[str] | None = None,
    inside: str = "",
    under: str = "",
) -> None:
    """Add a fault for all that cannot be, at paths that start with `under`.

    `material` is the lot's (a row, or the like), where it is known, `inside` the alkali that a lot
    made here is known to hold. Only what is `stated` now (None: all of it) has to mean something
    there: what older rows have stays in nobody's way.
    """
    kind = None if material is None else material.kind
    check_ranges(faults, certificate, VALUES, kind=kind, under=under)
    if material is not None:
        names = set(VALUES) if stated is None else set(stated)
        _check_meant(faults, certificate, material, names, inside=inside, under=under)
    if certificate.density_g_ml is None and certificate.density_temperature_c is not None:
        faults.add(
            "temperature-without-density",
            "A density's temperature is given without the density.",
            f"{under}.density_g_ml" if under else "density_g_ml",
        )
    if certificate.allergens is not None:
        path = f"{under}.allergens" if under else "allergens"
        check_allergens(faults, certificate.allergens, field=path)


def _check_meant(
    faults: Faults,
    certificate: Certificate,
    material: Any,
    names: AbstractSet[str],
    *,
    inside: str,
    under: str,
) -> None:
    """Refuse what nothing would come of: to be kept and ignored would look as if it counted.

    What is out of its range is told as that.
    """

    def states(name: str) -> bool:
        value = getattr(certificate, name)
        return name in names and value is not None and RANGES[name].holds(value)

    def path(name: str) -> str:
        return f"{under}.{name}" if under else name

    if states("purity") and not _has_purity(material, inside):
        told = f"Purity is the share of pure alkali, and {material.name} is no alkali"
        faults.add("purity-not-here", f"{told}: {_instead(material)}", path("purity"))
    if states("water_share") and material.kind in _WITHOUT_WATER:
        told = f"Nothing goes by the water in {material.name}: leave it out"
        faults.add("water-not-here", f"{told}, or say it in the note.", path("water_share"))


#: Packaging goes into no soap, and poured soap is what was poured.
_WITHOUT_WATER = frozenset({MaterialKind.PACKAGING, MaterialKind.BATTER})


def _has_purity(material: Any, inside: str) -> bool:
    if material.kind == MaterialKind.BATTER:
        return False
    return material.kind == MaterialKind.ALKALI or bool(inside or alkali_in(material))


def _instead(material: Any) -> str:
    """What to enter where somebody has a purity of what is no alkali."""
    if material.kind == MaterialKind.ACID or material.acid_naoh_g_per_g is not None:
        return (
            "leave it out, and enter on the material what one gram of it takes of alkali at that "
            "strength (acid_naoh_g_per_g)."
        )
    if material.kind == MaterialKind.FAT:
        return "leave it out. What a fat takes of alkali is its saponification value."
    if material.kind in (MaterialKind.BATTER, MaterialKind.BAR):
        return "leave it out. Free alkali that was measured in soap is told where its hold ends."
    return "leave it out, or say on the material which alkali it is."
