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

#: What must be so before the first lye is weighed. Each says that the caution of its code is met.
READY: tuple[Caution, ...] = (
    Caution(
        "protect-yourself",
        "Goggles, chemical-resistant gloves and long sleeves are on, and stay on.",
    ),
    Caution("ventilation", "The air is moving where I mix."),
    Caution(
        "heat-proof-container",
        "The container is heat-proof stainless steel or sturdy plastic, not aluminum or glass.",
    ),
    Caution("keep-others-away", "Children and animals are away."),
    Caution("rinse-and-seek-help", "Running water is within reach, to rinse at once."),
)
STORED_READY: tuple[Caution, ...] = (
    Caution("check-for-crystals", "The stored lye is clear, without crystals, and stirred."),
)

#: The shortest form, to stand beside each weight of the lye step; all of them stand on the page.
IN_SHORT = (
    "Lye burns: goggles, gloves and long sleeves stay on. Lye goes into the water, slowly; never"
    " water onto lye. On skin or in eyes: rinse at once, 15 minutes, and seek medical help."
)


def ready_for(*, stored: bool) -> tuple[Caution, ...]:
    """What to confirm before lye is weighed, with that of a `stored` lye where one is used."""
    return READY + STORED_READY if stored else READY


def cautions_for(*, masterbatch: bool) -> tuple[Caution, ...]:
    """The cautions for a lye that is mixed from dry alkali, or from a masterbatch."""
    return LYE_CAUTIONS + MASTERBATCH_CAUTIONS if masterbatch else LYE_CAUTIONS
