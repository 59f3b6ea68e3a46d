"""What is said of a material, and whether it can be so together: all faults at once."""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.materials import RANGES, MaterialKind, check_range
from studio.foundation.errors import Fault, Faults, InvalidInput

TRIVIAL_NAMES = {
    "caproic": "C6:0",
    "caprylic": "C8:0",
    "capric": "C10:0",
    "lauric": "C12:0",
    "myristic": "C14:0",
    "palmitic": "C16:0",
    "palmitoleic": "C16:1",
    "stearic": "C18:0",
    "oleic": "C18:1",
    "ricinoleic": "C18:1-OH",
    "linoleic": "C18:2",
    "linolenic": "C18:3",
    "arachidic": "C20:0",
    "gondoic": "C20:1",
    "behenic": "C22:0",
    "erucic": "C22:1",
    "lignoceric": "C24:0",
}
_SHORTHAND = re.compile(r"c?([0-9]{1,2}):([0-9])(-oh)?", re.ASCII | re.IGNORECASE)


def read_fatty_acid(text: str) -> str:
    """The shorthand of an acid written as "C12:0", "12:0", "lauric" or "C12:0 lauric".

    Raises InvalidInput for what is neither, for a chain that is not 4 to 26 carbons long or holds
    more double bonds than a natural acid can, and for a shorthand that contradicts its name.
    """
    words = text.strip().lower().split()
    if words and words[-1] == "acid":
        words = words[:-1]
    read = {_read(word) for word in words}
    if len(words) not in (1, 2) or len(read) != 1 or None in read:
        raise InvalidInput(
            f'"{text[:40]}" is no fatty acid as written here: write carbons and double bonds, such '
            'as "C12:0" or "C18:1" ("C18:1-OH" for ricinoleic), or the trivial name.'
        )
    return str(read.pop())


def _read(word: str) -> str | None:
    if word in TRIVIAL_NAMES:
        return TRIVIAL_NAMES[word]
    match = _SHORTHAND.fullmatch(word)
    if match is None:
        return None
    carbons, bonds, hydroxy = int(match[1]), int(match[2]), bool(match[3])
    # Double bonds are interrupted by a methylene group: at most one in three carbons, and none at
    # the acid's end.
    if not 4 <= carbons <= 26 or 3 * bonds > carbons - 1:
        return None
    return f"C{carbons}:{bonds}{'-OH' if hydroxy else ''}"


#: The shares of an analysis are rounded one by one and may add up to a little more than all.
MOST_FATTY_ACIDS = Decimal("1.02")
_NAN = Decimal("NaN")


def check_material(material: Any, faults: Faults, *, by_recipe: bool = False) -> None:
    """Add every reason why the values of a material, each possible, cannot be so together.

    `material` is a row, or anything else that has a material's values. `by_recipe` says that a
    recipe gives it its alkali, and so its strength where none is stated.
    """
    _check_saponification(faults, material)
    _check_parts(faults, material)
    _check_alkali(faults, material, by_recipe)
    _check_keeping(faults, material)


def read_fatty_acids(written: Mapping[str, Decimal], faults: Faults) -> dict[str, Decimal]:
    """Shares by the acids' shorthand of shares by "C12:0" or "lauric"; adds what is wrong."""
    shares: dict[str, Decimal] = {}
    for name, share in written.items():
        path = f"fatty_acids.{name}"
        try:
            acid = read_fatty_acid(name)
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


def gaps(material: Any) -> tuple[Fault, ...]:
    """What is missing before the material can be used everywhere; none of it hinders keeping it."""
    faults = Faults()
    if material.kind == MaterialKind.FAT and material.sv_mg_koh_g is None:
        faults.add(
            "saponification-value-missing",
            f"{material.name} has no saponification value: no lye can be computed for it unless "
            "its lot's certificate states one.",
            "sv_mg_koh_g",
        )
    if material.kind == MaterialKind.ACID and material.acid_naoh_g_per_g is None:
        faults.add(
            "acid-factor-missing",
            f"How much NaOH {material.name} neutralizes is not known, so no recipe can use it.",
            "acid_naoh_g_per_g",
        )
    if material.kind == MaterialKind.FRAGRANCE and material.ifra_category9_max is None:
        faults.add(
            "ifra-maximum-missing",
            f"{material.name} has no certified maximum for IFRA category 9: its lot needs one.",
            "ifra_category9_max",
        )
    return faults.found


def _check_saponification(faults: Faults, material: Any) -> None:
    ordered = [
        value
        for value in (
            material.sv_low_mg_koh_g,
            material.sv_mg_koh_g,
            material.sv_high_mg_koh_g,
        )
        if value is not None and value.is_finite()
    ]
    if ordered != sorted(ordered):
        faults.add(
            "sv-order",
            "The saponification values must rise from low over nominal to high.",
            "sv_mg_koh_g",
        )


def _check_parts(faults: Faults, material: Any) -> None:
    water, fat = material.water_share or Decimal(0), material.fat_share or Decimal(0)
    if water.is_finite() and fat.is_finite() and water + fat > 1:
        faults.add(
            "composition-impossible",
            "Water and fat are shares of the mass: together at most 1.",
            "water_share",
        )
    if material.density_g_ml is None and material.density_temperature_c is not None:
        faults.add(
            "temperature-without-density",
            "A density's temperature is given without the density.",
            "density_g_ml",
        )


def _check_alkali(faults: Faults, material: Any, by_recipe: bool) -> None:
    if material.kind == MaterialKind.ALKALI and not material.alkali:
        faults.add("alkali-missing", "Say which alkali it is: NaOH or KOH.", "alkali")
    if material.kind == MaterialKind.ALKALI and RANGES["purity"].holds(material.purity or _NAN):
        check_range(faults, "alkali_purity", material.purity, field="purity")
    if material.alkali and material.purity is None and not by_recipe:
        faults.add(
            "purity-missing",
            "An alkali needs its purity, a stored lye its strength: the share of pure alkali by "
            "mass.",
            "purity",
        )
    if material.alkali and material.kind not in (MaterialKind.ALKALI, MaterialKind.INTERMEDIATE):
        faults.add(
            "alkali-not-here",
            "Only an alkali, or a lye made here (intermediate), contains alkali.",
            "alkali",
        )


def _check_keeping(faults: Faults, material: Any) -> None:
    if material.piece_mass is not None and not material.counted:
        faults.add("not-counted", "Only what is counted has a mass of one piece.", "piece_mass")
    point, up_to = material.reorder_point, material.reorder_to
    if up_to is not None and point is None:
        faults.add("reorder-point-missing", "Give the point at which to reorder.", "reorder_point")
    elif up_to is not None and point is not None and up_to < point:
        faults.add(
            "reorder-order",
            "What is ordered up to cannot be below the reorder point.",
            "reorder_to",
        )
