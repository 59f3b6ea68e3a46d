"""What a lot's certificate of analysis states, each value described once.

The columns of a lot, the fields of the API and of the page, the columns of tables in and out and
every check follow from the fields of `Certificate`: one value more is a field here and its range.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import Any, Self

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
    kind: MaterialKind | str | None = None,
    under: str = "",
) -> None:
    """Add a fault for all that cannot be, at paths that start with `under`.

    `kind` is the kind of the lot's material, where it is known.
    """
    check_ranges(faults, certificate, VALUES, kind=kind, under=under)
    if certificate.density_g_ml is None and certificate.density_temperature_c is not None:
        faults.add(
            "temperature-without-density",
            "A density's temperature is given without the density.",
            f"{under}.density_g_ml" if under else "density_g_ml",
        )
    if certificate.allergens is not None:
        path = f"{under}.allergens" if under else "allergens"
        check_allergens(faults, certificate.allergens, field=path)
