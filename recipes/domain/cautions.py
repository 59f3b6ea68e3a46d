"""The trade's cautions for lye, as texts. Common practice, no source.

Every sheet and screen that tells someone to weigh or mix lye shows `LYE_CAUTIONS`; where a stored
lye is diluted or made, `MASTERBATCH_CAUTIONS` as well.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution; `code` is stable, for programs and tests."""

    code: str
    text: str


LYE_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "local-codes-first",
        "Local codes and licensed practice come first; where they differ from this sheet, follow"
        " them.",
    ),
    Caution("lye-burns", "Lye burns skin and eyes and can blind."),
    Caution(
        "protect-yourself",
        "Wear goggles, chemical-resistant gloves and long sleeves from the first weighing to the"
        " last washing up.",
    ),
    Caution(
        "lye-into-water",
        "Add lye to the water, slowly and stirring. Never pour water onto lye: it boils up and"
        " spits.",
    ),
    Caution(
        "ventilation",
        "Work where the air is moving and keep your face out of the fumes; the lye grows very hot.",
    ),
    Caution(
        "heat-proof-container",
        "Mix in a heat-proof container of stainless steel or sturdy plastic that lye does not"
        " attack, never in aluminum or glass.",
    ),
    Caution(
        "keep-others-away",
        "Keep children and animals away, and never leave lye unattended or unlabeled.",
    ),
    Caution(
        "rinse-and-seek-help",
        "On skin or in eyes: rinse at once with plenty of running water for at least 15 minutes,"
        " take off splashed clothing, and seek medical help. If swallowed, seek medical help at"
        " once and do not bring on vomiting.",
    ),
)

MASTERBATCH_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "dilution-heat",
        "Stored lye grows hot when it is diluted: pour it into the water, slowly and stirring, and"
        " let it cool.",
    ),
    Caution(
        "check-for-crystals",
        "A 50 % lye starts to crystallize near 14 °C. Warm it gently until clear and stir before"
        " weighing; the clear part of a half-frozen lye has another strength.",
    ),
    Caution(
        "closed-and-labeled",
        "Store it closed, labeled with strength, date and hazard, upright, below eye level and"
        " away from acids and aluminum.",
    ),
)


def cautions_for(*, masterbatch: bool) -> tuple[Caution, ...]:
    """The cautions for a lye that is mixed from dry alkali, or from a masterbatch."""
    return LYE_CAUTIONS + MASTERBATCH_CAUTIONS if masterbatch else LYE_CAUTIONS
