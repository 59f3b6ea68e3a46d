"""What somebody says of a material, and whether it can be so: plain values, all faults at once."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.domain.catalog.fatty_acids import read_fatty_acid
from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.catalog.ranges import check_range, check_ranges
from inventory.domain.stock.freshness import LONGEST_SHELF_LIFE_DAYS
from studio.foundation.errors import Fault, Faults, InvalidInput
from studio.foundation.units.registry import MAX_BASE

#: The shares of an analysis are rounded one by one and may add up to a little more than all.
MOST_FATTY_ACIDS = Decimal("1.02")
ALKALIES = ("NaOH", "KOH")
_RANGED = (
    "density_g_ml",
    "density_temperature_c",
    "sv_mg_koh_g",
    "sv_low_mg_koh_g",
    "sv_high_mg_koh_g",
    "iodine_value",
    "water_share",
    "fat_share",
    "purity",
    "acid_naoh_g_per_g",
    "ifra_category9_max",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialDescription:
    """All that is kept of a material.

    Densities in g/mL at degrees C, saponification values in mg KOH per g (ISO 3657), iodine value
    in g per 100 g (ISO 3961), shares as fractions of 1, `piece_mass` in ng, reorder amounts and
    `shelf_space` (the most there is room for) in stock units (ng or pieces). `fatty_acids` maps
    "C12:0" or "lauric" to a share of all fatty acids. `tempering` marks what brings protein that
    lye would cook (egg, milk). `low_stock_alerts` None means on for what is bought, off for what
    is made here.
    """

    code: str
    name: str
    kind: MaterialKind
    counted: bool = False
    piece_mass: int | None = None
    inci_name: str = ""
    density_g_ml: Decimal | None = None
    density_temperature_c: Decimal | None = None
    sv_mg_koh_g: Decimal | None = None
    sv_low_mg_koh_g: Decimal | None = None
    sv_high_mg_koh_g: Decimal | None = None
    iodine_value: Decimal | None = None
    fatty_acids: Mapping[str, Decimal] = field(default_factory=dict)
    water_share: Decimal | None = None
    fat_share: Decimal | None = None
    alkali: str = ""
    purity: Decimal | None = None
    acid_naoh_g_per_g: Decimal | None = None
    ifra_category9_max: Decimal | None = None
    tempering: bool = False
    shelf_life_days: int | None = None
    reorder_point: int | None = None
    reorder_to: int | None = None
    shelf_space: int | None = None
    low_stock_alerts: bool | None = None
    active: bool = True
    note: str = ""

    @property
    def alerts_on(self) -> bool:
        """Whether low stock of it raises an alert."""
        return (
            self.kind not in MADE_HERE if self.low_stock_alerts is None else self.low_stock_alerts
        )


def check_material(described: MaterialDescription) -> Faults:
    """Every reason why a material cannot be as described; empty when it can."""
    faults = Faults()
    check_ranges(faults, described, _RANGED, kind=described.kind)
    _check_saponification(faults, described)
    _check_parts(faults, described)
    _check_alkali(faults, described)
    _check_pieces(faults, described)
    _check_keeping(faults, described)
    fatty_acids_of(described, faults)
    return faults


def fatty_acids_of(described: MaterialDescription, faults: Faults) -> dict[str, Decimal]:
    """The fatty-acid shares under their shorthand; adds what is wrong with them to `faults`."""
    shares: dict[str, Decimal] = {}
    for written, share in described.fatty_acids.items():
        path = f"fatty_acids.{written}"
        try:
            acid = read_fatty_acid(written)
        except InvalidInput as refusal:
            faults.take(refusal, "fatty_acids")
            continue
        if acid in shares:
            faults.add("acid-twice", f"{acid} is given twice.", path)
        check_range(faults, "fatty_acid_share", share, field=path)
        shares[acid] = share
    if all(share.is_finite() for share in shares.values()):
        total = sum(shares.values(), Decimal(0))
        if total > MOST_FATTY_ACIDS:
            faults.add(
                "too-many-fatty-acids",
                f"The fatty-acid shares add up to {total}; all fatty acids together are 1.",
                "fatty_acids",
            )
    return shares


def gaps(described: MaterialDescription) -> tuple[Fault, ...]:
    """What is missing before the material can be used everywhere; none of it hinders keeping it."""
    faults = Faults()
    if described.kind is MaterialKind.FAT and described.sv_mg_koh_g is None:
        faults.add(
            "saponification-value-missing",
            f"{described.name} has no saponification value: no lye can be computed for it unless "
            "its lot's certificate states one.",
            "sv_mg_koh_g",
        )
    if described.kind is MaterialKind.ACID and described.acid_naoh_g_per_g is None:
        faults.add(
            "acid-factor-missing",
            f"How much NaOH {described.name} neutralizes is not known, so no recipe can use it.",
            "acid_naoh_g_per_g",
        )
    if described.kind is MaterialKind.FRAGRANCE and described.ifra_category9_max is None:
        faults.add(
            "ifra-maximum-missing",
            f"{described.name} has no certified maximum for IFRA category 9: its lot needs one.",
            "ifra_category9_max",
        )
    return faults.found


def _check_saponification(faults: Faults, described: MaterialDescription) -> None:
    ordered = [
        value
        for value in (
            described.sv_low_mg_koh_g,
            described.sv_mg_koh_g,
            described.sv_high_mg_koh_g,
        )
        if value is not None and value.is_finite()
    ]
    if ordered != sorted(ordered):
        faults.add(
            "sv-order",
            "The saponification values must rise from low over nominal to high.",
            "sv_mg_koh_g",
        )


def _check_parts(faults: Faults, described: MaterialDescription) -> None:
    water, fat = described.water_share or Decimal(0), described.fat_share or Decimal(0)
    if water.is_finite() and fat.is_finite() and water + fat > 1:
        faults.add(
            "composition-impossible",
            "Water and fat are shares of the mass: together at most 1.",
            "water_share",
        )
    if described.density_g_ml is None and described.density_temperature_c is not None:
        faults.add(
            "temperature-without-density",
            "A density's temperature is given without the density.",
            "density_g_ml",
        )


def _check_alkali(faults: Faults, described: MaterialDescription) -> None:
    if described.alkali and described.alkali not in ALKALIES:
        faults.add("unknown-alkali", f"The alkali is one of {' or '.join(ALKALIES)}.", "alkali")
    if described.kind is MaterialKind.ALKALI and not described.alkali:
        faults.add("alkali-missing", "Say which alkali it is: NaOH or KOH.", "alkali")
    if described.alkali and described.purity is None:
        faults.add(
            "purity-missing",
            "An alkali needs its purity, a stored lye its strength: the share of pure alkali by "
            "mass.",
            "purity",
        )
    if described.alkali and described.kind not in (MaterialKind.ALKALI, MaterialKind.INTERMEDIATE):
        faults.add(
            "alkali-not-here",
            "Only an alkali, or a lye made here (intermediate), contains alkali.",
            "alkali",
        )


def _check_pieces(faults: Faults, described: MaterialDescription) -> None:
    mass = described.piece_mass
    if mass is None:
        return
    if not described.counted:
        faults.add("not-counted", "Only what is counted has a mass of one piece.", "piece_mass")
    if not 0 < mass <= MAX_BASE:
        faults.add("out-of-range", "One piece weighs more than nothing.", "piece_mass")


def _check_keeping(faults: Faults, described: MaterialDescription) -> None:
    days = described.shelf_life_days
    if days is not None and not 1 <= days <= LONGEST_SHELF_LIFE_DAYS:
        faults.add(
            "out-of-range",
            f"A shelf life is from 1 to {LONGEST_SHELF_LIFE_DAYS} days.",
            "shelf_life_days",
        )
    for name in ("reorder_point", "reorder_to"):
        amount = getattr(described, name)
        if amount is not None and not 0 <= amount <= MAX_BASE:
            faults.add("out-of-range", "The amount cannot be below zero or beyond keeping.", name)
    if described.shelf_space is not None and not 1 <= described.shelf_space <= MAX_BASE:
        faults.add("out-of-range", "Room is above zero, and not beyond keeping.", "shelf_space")
    point, up_to = described.reorder_point, described.reorder_to
    if up_to is not None and point is None:
        faults.add("reorder-point-missing", "Give the point at which to reorder.", "reorder_point")
    elif up_to is not None and point is not None and up_to < point:
        faults.add(
            "reorder-order",
            "What is ordered up to cannot be below the reorder point.",
            "reorder_to",
        )
