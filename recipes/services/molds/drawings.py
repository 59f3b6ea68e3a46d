"""What is drawn of molds, of batches in them and of their cure, from what is kept."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from recipes.domain.bench.pours import PouredLayer, edges_of, stack
from recipes.domain.cure.drying import day_means
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.molds.molds import fill_height_nm, fill_volume_nl
from recipes.domain.molds.sections import Section, section_of
from recipes.domain.molds.shapes import Mold as Shape
from recipes.domain.molds.shapes import full_volume_nl
from recipes.domain.scaling.scaling import scale
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.cure import Cure
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.molds.molds import cut_of, mold_by_code, shape_of
from recipes.services.scaling.portions import Portions, portions_of
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.curve import DayMark, DayValue, FittedValue, curve_with_band
from studio.foundation.drawing.scales import Unit
from studio.foundation.drawing.section import Pour, Vessel, cross_section
from studio.foundation.errors import NotFound
from studio.foundation.units.registry import NG_PER_G, NL_PER_ML, NM_PER_MM

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch
    from recipes.models.molds.molds import Mold


def drawing_of_mold(code: str) -> Chart:
    """The section of an empty mold with its fill line. One query.

    Raises NotFound, and InvalidInput for a mold that was measured without a depth.
    """
    return drawing_of(mold_by_code(code))


def drawing_of(mold: "Mold") -> Chart:
    """The same of a mold that was read already, or is being written. No query."""
    cut = cut_of(mold)
    return drawn_section(
        f"Mold {mold.name}",
        cut.mold,
        cut.fill_height_nm,
        facts=[
            ("Holds to the fill line", milliliters(fill_volume_nl(cut.mold, cut.fill_height_nm))),
            ("Holds to the rim", milliliters(full_volume_nl(cut.mold))),
        ],
    )


def drawing_of_batch(code: str) -> Chart:
    """The section of a batch's mold with its layers and fill line.

    A fixed number of queries. Raises NotFound, also for a batch that fills no mold, and
    InvalidInput for a mold that was measured without a depth.
    """
    batch = batch_by_code(code)
    return drawing_of_made(batch, portions_of(batch))


def drawing_of_made(batch: "Batch", made: Portions) -> Chart:
    """The same of a batch whose portions were read already."""
    if batch.mold is None:
        raise NotFound(f"Batch {batch.code} fills no mold: there is nothing to draw.", field="mold")
    shape = shape_of(batch.mold)
    volume, too_much = _volume_in(batch, shape)
    return drawn_section(
        f"Batch {batch.code} in {batch.mold.name}",
        shape,
        fill_height_nm(shape, volume),
        made=made,
        facts=_facts(made, batch, volume, too_much),
    )


def drawn_section(
    title: str,
    shape: Shape,
    height_nm: int | None,
    *,
    made: Portions | None = None,
    facts: Sequence[tuple[str, str]] = (),
) -> Chart:
    """A mold filled to a height (None: to the rim), with the layers of a split batter. No query.

    Raises InvalidInput for a mold that was measured without a depth.
    """
    section = section_of(shape)
    height = height_nm or section.depth_nm
    pours = _poured(made, section, height) if made else []
    size = f"{millimeters(section.width_nm)} wide, {millimeters(section.depth_nm)} deep"
    told = [f"Cross-section {size}, filled to {millimeters(height)}."]
    told += [
        f"Layer {number}: {pour.name}, {pour.place}, {pour.amount}, {pour.reach}."
        for number, pour in enumerate(pours, start=1)
    ]
    notes = [size]
    if section.cavities > 1:
        notes.append(f"One of {section.cavities} cavities; all are filled alike.")
    if section.schematic:
        notes.append("Only its volume and depth were measured: drawn as a box.")
    return cross_section(
        prefix="mold",
        title=title,
        words=" ".join(told),
        vessel=_vessel(section, height, notes),
        pours=pours,
        facts=facts,
    )


def _vessel(section: Section, height_nm: int, notes: Sequence[str]) -> Vessel:
    half = section.width_nm / 2
    return Vessel(
        inside=section.area(0, section.depth_nm),
        filled=section.area(0, height_nm),
        fill_text=millimeters(height_nm),
        dividers=[(start - half, end - half) for start, end in section.dividers],
        notes=notes,
    )


def drawing_of_cure(cure: Cure, *, written: Callable[[int], str] | None = None) -> Chart:
    """The cure as a curve: weighings, the fitted curve with its band, and the dates that count.

    `written` writes a mass in ng; without it, in grams. No query.
    """
    batch, write = cure.batch, written or grams
    return curve_with_band(
        prefix="cure",
        title=f"Cure of batch {batch.code}, {batch.version.formula.name}",
        points=[
            DayValue(on=each.on, value=each.weight_ng, text=write(each.weight_ng))
            for each in day_means(cure.weighings)
        ],
        unit=Unit(per_unit=NG_PER_G, word="g"),
        fitted=[
            FittedValue(on=each.on, value=each.weight_ng, low=each.low_ng, high=each.high_ng)
            for each in cure.series
        ],
        marks=_dates(cure),
        note=_no_curve(cure),
    )


def millimeters(length_nm: float) -> str:
    """A length as text, to a tenth of a millimeter."""
    return f"{length_nm / NM_PER_MM:.1f}".removesuffix(".0") + " mm"


def grams(mass_ng: int) -> str:
    """A mass as text, to a tenth of a gram."""
    return f"{mass_ng / NG_PER_G:.1f} g"


def milliliters(volume_nl: int) -> str:
    """A volume as text, to a milliliter."""
    return f"{volume_nl / NL_PER_ML:.0f} mL"


def _poured(made: Portions, section: Section, height_nm: int) -> list[Pour]:
    layers = [weight.layer for weight in made.layers]
    masses = [weight.mass_ng for weight in made.layers]
    return [
        Pour(
            name=one.layer.portion,
            place=one.layer.place.value,
            amount=grams(one.mass_ng),
            reach=_reach(one),
            areas=[section.area(s.bottom_nm, s.top_nm, third=s.third) for s in one.spans],
            edges=edges_of(section, one.spans),
        )
        for one in stack(layers, masses, section=section, fill_height_nm=height_nm)
    ]


def _reach(poured: PouredLayer) -> str:
    if not poured.spans:
        return "-"
    bottom = min(span.bottom_nm for span in poured.spans)
    top = max(span.top_nm for span in poured.spans)
    return f"{millimeters(bottom).removesuffix(' mm')} to {millimeters(top)}"


def _volume_in(batch: "Batch", shape: Shape) -> tuple[int, int]:
    """nL in the mold by the plan, and what of the batter does not fit."""
    full = full_volume_nl(shape)
    if batch.target.get("kind") == "volume":
        return min(int(batch.target["volume_nl"]), full), 0
    version = batch.version
    loaded = load_formula(code=version.formula.code, number=version.number)
    soap = loaded.soap
    if soap is None:
        raise NotFound(f"Batch {batch.code} is a blend, which fills no mold.", field="mold")
    scaled = scale(
        soap,
        FatTarget(batch.fats),
        pour_temperature_c=version.pour_temperature_c,
        resolution=loaded.scales,
        bars=batch.bars_planned,
    )
    volume = round(scaled.batter_volume_nl * (1 - version.pot_loss_share))
    return min(volume, full), max(volume - full, 0)


def _facts(made: Portions, batch: "Batch", volume: int, too_much: int) -> list[tuple[str, str]]:
    facts = [(f"Portion {weight.name}", grams(weight.total_ng)) for weight in made.portions]
    facts.append(("Batter in all", grams(made.total_ng or batch.batter)))
    facts.append(("In the mold", milliliters(volume)))
    if too_much:
        facts.append(("Does not fit into the mold", milliliters(too_much)))
    return facts


def _dates(cure: Cure) -> list[DayMark]:
    """The pour, and when the cure is over by the recipe and by the weighings; one of them holds."""
    poured, found = cure.batch.poured_on, cure.predicted
    marks = [DayMark(on=poured, label="poured")] if poured else []
    if found is None or found.on != cure.default_on:
        marks.append(
            DayMark(on=cure.default_on, label=f"by the recipe{_holds(cure, cure.default_on)}")
        )
    if found is not None:
        both = "by the recipe and " if found.on == cure.default_on else ""
        label = f"{both}by the weighings{_holds(cure, found.on)}"
        marks.append(DayMark(on=found.on, label=label, low=found.low, high=found.high))
    return marks


def _holds(cure: Cure, on: date) -> str:
    return " (holds)" if on == cure.ready_on else ""


def _no_curve(cure: Cure) -> str:
    if not cure.weighings:
        return "No bars were weighed yet: the recipe's cure days hold."
    return "" if cure.no_curve is None else cure.no_curve.message
