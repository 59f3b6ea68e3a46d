"""Values of a certificate that may be so and rarely are: kept once somebody has read them again.

A saponification value outside of the range that is kept of its material (for edible oils those of
the Codex: CXS 210, CXS 33, CXS 211), and dry alkali that is weaker than it is sold: NaOH of less
than 95 %, KOH of less than 85 % (common practice, no source). A lot without a certificate is taken
by its material, and nobody is asked. What contradicts the parts of a lot that was made here is
found by `inventory.domain.stock.contradictions`, and confirmed the same way.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import RANGES, MaterialKind
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

PURITY, SAPONIFICATION = "unusual-purity", "unusual-saponification-value"
PURITY_OF_PARTS = "purity-contradicts-parts"
SAPONIFICATION_OF_PARTS = "saponification-value-contradicts-parts"
#: The codes that are confirmed, and the values that they are about.
UNUSUAL = {
    PURITY: "purity",
    SAPONIFICATION: "sv_mg_koh_g",
    PURITY_OF_PARTS: "purity",
    SAPONIFICATION_OF_PARTS: "sv_mg_koh_g",
}
LEAST_PURITY = {"NaOH": Decimal("0.95"), "KOH": Decimal("0.85")}


@dataclass(frozen=True, slots=True)
class Unusual:
    """A certified value outside of what is usual: what it is, and in words why.

    One that is `dangerous` makes soap lye-heavy if it is wrong: an owner alone confirms it.
    """

    code: str
    value: Decimal
    words: str
    dangerous: bool = False

    @property
    def field(self) -> str:
        """The name of the value."""
        return UNUSUAL[self.code]


def unusual(certificate: Certificate, material: Any) -> tuple[Unusual, ...]:
    """What a lot's certificate states that is not usual of its material (a row, or the like)."""
    found = (_purity(certificate.purity, material), _saponification(certificate, material))
    return tuple(each for each in found if each is not None)


def check_unusual(
    faults: Faults,
    certificate: Certificate,
    material: Any,
    *,
    confirmed: Collection[str],
    under: str = "",
) -> None:
    """Add a fault for each unusual value whose code is not among those confirmed."""
    ask(faults, unusual(certificate, material), confirmed=confirmed, under=under)


def ask(
    faults: Faults, found: Iterable[Unusual], *, confirmed: Collection[str], under: str = ""
) -> None:
    """Add a fault for each of these whose code is not among those confirmed."""
    for each in found:
        if each.code not in confirmed:
            faults.add(
                each.code,
                f"{each.words} Read the certificate again; if it does say so, confirm that.",
                f"{under}.{each.field}" if under else each.field,
            )


def _purity(purity: Decimal | None, material: Any) -> Unusual | None:
    least = LEAST_PURITY.get(material.alkali)
    if material.kind != MaterialKind.ALKALI or purity is None or least is None:
        return None
    if purity >= least or not RANGES["alkali_purity"].holds(purity):
        return None  # what cannot be is refused as such
    return Unusual(
        PURITY,
        purity,
        f"{percent(purity)} is weak for {material.alkali} as it is sold: {percent(least)} or more.",
    )


def _saponification(certificate: Certificate, material: Any) -> Unusual | None:
    value = certificate.sv_mg_koh_g
    low, high = material.sv_low_mg_koh_g, material.sv_high_mg_koh_g
    if value is None or not RANGES["sv_mg_koh_g"].holds(value):
        return None
    if not ((low and value < low) or (high and value > high)):
        return None
    ends = [f"{word} {end.normalize():f}" for word, end in (("from", low), ("to", high)) if end]
    return Unusual(
        SAPONIFICATION,
        value,
        f"{value.normalize():f} mg KOH/g is outside of the range of {material.name}"
        f" ({' '.join(ends)}).",
    )
