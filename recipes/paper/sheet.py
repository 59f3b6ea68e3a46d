"""The batch sheet in words and numbers as they are read: for the printed page and for paper."""

from decimal import Decimal
from pathlib import Path
from typing import Any

from recipes.domain.scales import Scales
from recipes.models.bench.batches import Batch
from recipes.paper.amounts import amount_text, ounces_text, scale_text, step_text
from recipes.services.bench.as_made import ActualLine, Actuals
from recipes.services.bench.sheets import Sheet, SheetLine
from recipes.services.molds.drawings import drawing_of_batch
from studio.foundation.drawing.alone import alone
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import InvalidInput
from studio.foundation.money import split
from studio.foundation.units.writing import grams, percent

SHEET = Path(__file__).with_name("sheet.typ")

#: What the stages are called at the bench.
STAGES = {
    "fats": "Fats",
    "lye": "Lye",
    "trace": "At trace",
    "portion": "Into the portions",
    "top": "On top",
    "pack": "After the cure",
}
#: A font that paper has.
_FONT = "Libertinus Serif"
#: Places to sign: who did it, and who looked at it (ISO 22716 clause 7, from memory).
SIGNED = ("Weighed by", "Checked by", "Poured by", "Date")


def sheet_values(sheet: Sheet) -> dict[str, Any]:
    """All that stands on the sheet, as text; a template only places it."""
    batch = sheet.batch
    return {
        "batch": batch.code,
        "recipe": batch.version.formula.name,
        "facts": _facts(sheet),
        "warnings": list(sheet.warnings),
        "cautions": [caution.text for caution in sheet.cautions],
        "stages": [
            {"name": STAGES[stage.value], "lines": [_line(line) for line in lines]}
            for stage, lines in sheet.stages
        ],
        "lye_facts": _lye_facts(sheet),
        "lye_steps": list(sheet.steps),
        "tempering": list(sheet.tempering),
        **_pour(sheet),
        "checks": _checks(batch),
        "results": _results(sheet.actuals),
        "deviations": [_deviation(line) for line in sheet.actuals.deviations],
        "lye_heavy": sheet.actuals.lye_heavy,
        "note": batch.note,
        "signed": list(SIGNED),
    }


def drawing_for(sheet: Sheet) -> Chart | None:
    """The mold's section with the layers; None where nothing is layered or known."""
    if sheet.batch.mold is None or not sheet.portions.layers:
        return None
    try:
        return drawing_of_batch(sheet.batch.code)
    except InvalidInput:  # a mold that was measured has no shape to draw
        return None


def paper_values(sheet: Sheet, *, code: str) -> dict[str, Any]:
    """What stands on the sheet with its drawing and the code to scan."""
    chart = drawing_for(sheet)
    drawing = alone(chart, font=_FONT) if chart else ""
    return {**sheet_values(sheet), "drawing": drawing, "code": code}


def _pour(sheet: Sheet) -> dict[str, list[dict[str, str]]]:
    """Portions and layers, each to the nearest step of its scale."""
    scales = sheet.actuals.scales
    return {
        "portions": [
            {
                "name": one.name,
                "share": percent(one.share),
                "plain": _stepped(one.plain_ng, scales),
                "colorants": _stepped(one.colorants_ng, scales),
                "total": _stepped(one.total_ng, scales),
            }
            for one in sheet.portions.portions
        ],
        "layers": [
            {
                "portion": one.layer.portion,
                "place": one.layer.place.value,
                "mass": _stepped(one.mass_ng, scales),
                "note": one.layer.note,
            }
            for one in sheet.portions.layers
        ],
    }


def _facts(sheet: Sheet) -> list[tuple[str, str]]:
    batch = sheet.batch
    facts = [
        ("Recipe", f"{batch.version.formula.code}, version {batch.version.number}"),
        ("State", batch.state),
        ("For", batch.planned_on.isoformat()),
        ("Planned by", batch.by.get_username() if batch.by else ""),
        ("Mold", batch.mold.name if batch.mold else ""),
        ("Bars", str(batch.bars_planned) if batch.bars_planned else ""),
        ("Batter", grams(batch.batter)),
        ("Scales" if sheet.actuals.scales.kept else "Scale shows", _scales(sheet)),
        ("Poured", batch.poured_on.isoformat() if batch.poured_on else ""),
        ("Lot of the batter", batch.poured_lot.code if batch.poured_lot else ""),
        ("Lot of the bars", batch.bar_lot.code if batch.bar_lot else ""),
    ]
    return [(label, value) for label, value in facts if value]


def _scales(sheet: Sheet) -> str:
    """What is weighed on: the scales of the lines, or the recipe's step where none is kept."""
    scales = sheet.actuals.scales
    if not scales.kept:
        return f"{grams(scales.step_ng)}, by the recipe: no scale is kept"
    used = {line.actual.weighed.name for line in sheet.lines if line.actual.weighed}
    told = [f"{one.name} ({step_text(one.step_ng)})" for one in scales.kept if one.name in used]
    return ", ".join(told)


def _line(line: SheetLine) -> dict[str, Any]:
    row, actual = line.row, line.actual
    counted = row.material.counted
    return {
        "number": str(row.position + 1),
        "name": row.material.name,
        "portion": row.portion,
        "target": amount_text(row.planned, counted=counted),
        "ounces": "" if counted else ounces_text(row.planned),
        "tolerance": f"± {amount_text(actual.tolerance, counted=counted)}" if actual.step else "",
        "scale": scale_text(actual.weighed),
        "actual": "" if actual.actual is None else amount_text(actual.actual, counted=counted),
        "outside": actual.deviation is not None and actual.deviation.is_outside,
        "lots": [
            {"code": lot.lot, "amount": amount_text(amount, counted=counted)}
            for lot, amount in zip(line.lots, on_the_scale(line), strict=True)
        ],
        "short": amount_text(line.short, counted=counted) if line.short > 0 else "",
    }


def on_the_scale(line: SheetLine) -> list[int]:
    """What to take of each lot in steps of the scale, adding up to what the lots give together.

    As it stands in the books where a step would hide a lot, or the sum is between two steps.
    """
    amounts = [lot.amount for lot in line.lots]
    step, total = line.actual.step, sum(amounts)
    if not step or not amounts or total % step:
        return amounts
    parts = [part * step for part in split(total // step, amounts)]
    return parts if all(parts) else amounts


def _lye_facts(sheet: Sheet) -> list[tuple[str, str]]:
    lye, batch = sheet.lye, sheet.batch
    if not sheet.steps:
        return []
    masses = [
        ("NaOH", lye.naoh_ng),
        ("KOH", lye.koh_ng),
        ("Stored lye", lye.masterbatch_ng),
        ("Extra water", lye.water_ng),
        ("of which kept back to rinse", lye.rinse_ng),
    ]
    facts = [(label, grams(mass)) for label, mass in masses if mass]
    if batch.lye_concentration is not None:
        facts.append(("Lye concentration", percent(batch.lye_concentration)))
    if batch.superfat is not None:
        facts.append(("Superfat", percent(batch.superfat)))
    return facts


def _checks(batch: Batch) -> list[dict[str, str]]:
    """What is looked at on the way, with what is wanted and what was found."""
    if not batch.fats:
        return []
    wanted = _celsius(batch.version.pour_temperature_c)
    minutes = "" if batch.trace_minutes is None else f"{batch.trace_minutes} min"
    return [
        {"what": "Oils", "wanted": wanted, "found": _celsius(batch.oil_temperature_c)},
        {"what": "Lye", "wanted": wanted, "found": _celsius(batch.lye_temperature_c)},
        {"what": "At the pour", "wanted": wanted, "found": _celsius(batch.poured_temperature_c)},
        {"what": "Stirred until trace", "wanted": "", "found": minutes},
        {
            "what": "Batter as poured",
            "wanted": grams(batch.batter),
            "found": grams(batch.poured_mass) if batch.poured_mass else "",
        },
    ]


def _results(actuals: Actuals) -> list[tuple[str, str]]:
    """What was made by the weights; only once something was weighed."""
    if all(line.actual is None for line in actuals.lines):
        return []
    found = [
        ("Superfat as weighed", actuals.superfat),
        ("Lye concentration as weighed", actuals.lye_concentration),
    ]
    return [(label, percent(value)) for label, value in found if value is not None]


def _deviation(line: ActualLine) -> dict[str, Any]:
    found, counted = line.deviation, line.row.material.counted
    assert found is not None
    sign = "+" if found.difference > 0 else "−"
    return {
        "name": line.row.material.name,
        "planned": amount_text(found.planned, counted=counted),
        "actual": amount_text(found.actual, counted=counted),
        "difference": f"{sign}{amount_text(abs(found.difference), counted=counted)}",
        "share": f"{sign}{percent(abs(found.share))}",
        "outside": found.is_outside,
    }


def _stepped(mass_ng: int, scales: Scales) -> str:
    return grams(scales.nearest(Decimal(mass_ng)))


def _celsius(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f} °C"
