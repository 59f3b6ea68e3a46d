"""What differs between two versions of a recipe, line by line and setting by setting, in words."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.formulas.amount_words import STAGES, said_amount
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import FormulaLine, FormulaVersion
from recipes.queries.formulas.formulas import LoadedFormula
from studio.foundation.units.writing import friendly_mass, percent

_SHARES = {
    "superfat": "Superfat",
    "lye_concentration": "Lye concentration",
    "koh_share": "KOH share",
    "pot_loss_share": "Stays in the pot",
    "cure_loss_share": "Dries off in the cure",
    "rinse_share": "Water kept to rinse",
    "weekly_loss_limit": "Cured at a weekly loss below",
}
_MATERIALS = {"naoh": "NaOH", "koh": "KOH", "masterbatch": "Masterbatch lye", "water": "Water"}
_NUMBERS = {
    "cure_days": "Cure, days",
    "ready_days": "Steeps, days",
    "minutes": "Work a batch, minutes",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing as it was and as it is; `word` says what happened to it."""

    what: str
    before: str
    after: str

    @property
    def word(self) -> str:
        """Added, taken out, changed or the same."""
        if self.before == self.after:
            return "the same"
        if not self.before:
            return "added"
        return "changed" if self.after else "taken out"


def differences(old: LoadedFormula | None, new: LoadedFormula) -> list[Difference]:
    """All that differs between two versions; all there is where there was none before."""
    rows = old.rows if old is not None else ()
    both = (*line_differences(rows, new.rows), *setting_differences(old, new))
    return [one for one in both if one.before != one.after]


def line_differences(
    old: tuple[FormulaLine, ...], new: tuple[FormulaLine, ...]
) -> list[Difference]:
    """Lines of the new version in their order, then those that are gone.

    A line is the same one when its material, stage and portion are; several such are told apart
    by their order.
    """
    before, after = _keyed(old), _keyed(new)
    keys = [*after, *(key for key in before if key not in after)]
    return [
        Difference(
            _named((after if key in after else before)[key]),
            _said(before.get(key)),
            _said(after.get(key)),
        )
        for key in keys
    ]


def _keyed(rows: tuple[FormulaLine, ...]) -> dict[tuple[int, str, str, int], FormulaLine]:
    keyed: dict[tuple[int, str, str, int], FormulaLine] = {}
    for row in rows:
        again = 0
        while (key := (row.material_id, row.stage, row.portion, again)) in keyed:
            again += 1
        keyed[key] = row
    return keyed


def _named(row: FormulaLine) -> str:
    place = row.portion or ("" if row.stage == Stage.FATS.value else STAGES[Stage(row.stage)])
    return f"{row.material.name}, {place}" if place else row.material.name


def _said(row: FormulaLine | None) -> str:
    if row is None:
        return ""
    said = said_amount(row.amount, Basis(row.basis), counted=row.material.counted)
    water = ", its water counts" if row.counts_as_water else ""
    return f"{said}{water}{', strained out again' if row.strained else ''}"


def setting_differences(old: LoadedFormula | None, new: LoadedFormula) -> list[Difference]:
    """The settings, portions and layers of two versions."""
    before, after = _settings(old) if old is not None else {}, _settings(new)
    return [
        Difference(name, before.get(name, ""), after.get(name, ""))
        for name in dict.fromkeys((*after, *before))
    ]


def _settings(loaded: LoadedFormula) -> dict[str, str]:
    version = loaded.version
    told = {words: _share(getattr(version, name)) for name, words in _SHARES.items()}
    told |= {words: _name(version, name) for name, words in _MATERIALS.items()}
    told |= {words: str(getattr(version, name)) for name, words in _NUMBERS.items()}
    told["Poured at"] = f"{version.pour_temperature_c.normalize():f} °C"
    told["Step of the scale"] = friendly_mass(version.resolution)
    told["Note"] = version.note
    if loaded.soap is not None:
        told |= {f"Portion {one.name}": percent(one.share) for one in loaded.soap.portions}
    told["Layers"] = "; ".join(
        f"{percent(one.share)} of {one.portion}, {one.place.value}"
        + (f" ({one.note})" if one.note else "")
        for one in loaded.layers
    )
    return told


def _share(value: Decimal | None) -> str:
    return "" if value is None else percent(value)


def _name(version: FormulaVersion, name: str) -> str:
    material = getattr(version, name)
    return material.name if material is not None else ""
