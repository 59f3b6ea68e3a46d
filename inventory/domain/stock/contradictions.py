"""What was measured on a made lot itself, against what it consists of by its parts.

A measured value goes before the derived one, so that a wrong one makes soap lye-heavy with nobody
asked. A titration, a certificate and the scale are each right within a percent or two (common
practice, no source): what is off by more than that together is measured or written wrong, or the
lot is not what the books say.
"""

from decimal import Decimal

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import RANGES
from inventory.domain.catalog.unusual import PURITY_OF_PARTS, SAPONIFICATION_OF_PARTS, Unusual
from inventory.domain.stock.contents import Contents
from studio.foundation.units.writing import percent

#: The part of the derived value that a measured one may be off, to either side.
AGREES_WITHIN = Decimal("0.05")


def contradictions(own: Certificate, parts: Contents, *, alkali: str) -> tuple[Unusual, ...]:
    """What is certified of a made lot and is not what its `parts` make, told with both figures.

    `alkali` is the one that its material is kept or named as, or "". Dangerous is alkali that is
    weaker, or a saponification value that is higher, than derived: more lye is weighed by it. What
    cannot be derived (a fat without a value) contradicts nothing.
    """
    found = (_purity(own.purity, parts, alkali or parts.alkali), _demand(own.sv_mg_koh_g, parts))
    return tuple(each for each in found if each is not None)


def differs(value: Decimal, derived: Decimal) -> bool:
    """Whether a measured value is further from the derived one than may be."""
    return abs(value - derived) > derived * AGREES_WITHIN


def _purity(value: Decimal | None, parts: Contents, alkali: str) -> Unusual | None:
    if value is None or not alkali or not RANGES["purity"].holds(value):
        return None
    # As `measured` takes it.
    derived = (parts.koh if alkali == "KOH" else parts.naoh).usual
    if not differs(value, derived):
        return None
    return Unusual(
        PURITY_OF_PARTS,
        value,
        f"A strength of {percent(value)} contradicts what went into this lot, which makes "
        f"{percent(round(derived, 4))} {alkali}.",
        dangerous=value < derived,
    )


def _demand(value: Decimal | None, parts: Contents) -> Unusual | None:
    if value is None or parts.demand is None or not RANGES["sv_mg_koh_g"].holds(value):
        return None
    derived = parts.demand.usual
    if not differs(value, derived):
        return None
    return Unusual(
        SAPONIFICATION_OF_PARTS,
        value,
        f"{value.normalize():f} mg KOH/g contradicts what went into this lot, which makes "
        f"{round(derived, 1).normalize():f} mg KOH/g.",
        dangerous=value > derived,
    )
