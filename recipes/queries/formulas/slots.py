"""Whether the alkalis that a version names are still what it takes them for."""

from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.formulas.formulas import Made
from studio.foundation.errors import Fault, Faults

#: The code of the fault of an alkali that is kept as another one.
OTHER_ALKALI = "not-that-alkali"
#: What a version calls its alkalis, and what each has to be.
SLOTS = {"naoh": "NaOH", "koh": "KOH", "masterbatch": "NaOH"}


def check_slots(version: FormulaVersion, contents: Made, faults: Faults) -> None:
    """Add a fault for each alkali that is kept, or made, as another one. No query."""
    for name, alkali in SLOTS.items():
        material = getattr(version, name)
        if material is None:
            continue
        made = contents.get(material.pk)
        if material.alkali != alkali:
            kept = material.alkali or "no alkali"
            faults.add(
                OTHER_ALKALI,
                f"{material.name} is not kept as {alkali} here, but as {kept}: name another, or"
                " correct what it is.",
                name,
            )
        elif made is not None and not (made.koh if alkali == "KOH" else made.naoh):
            faults.add(OTHER_ALKALI, f"The recipe of {material.name} takes no {alkali}.", name)


def refuse_other_alkali(version: FormulaVersion, contents: Made) -> None:
    """Refuse to make what names another alkali than it was written for. Raises FormulaRefusal."""
    faults = Faults()
    check_slots(version, contents, faults)
    faults.raise_if_any(FormulaRefusal)


def other_alkali(version: FormulaVersion) -> tuple[Fault, ...]:
    """What a version names that is kept as another alkali by now."""
    faults = Faults()
    check_slots(version, {}, faults)
    return faults.found
