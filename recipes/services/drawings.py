"""Drawings of molds and of batches in them, from what is kept."""

from typing import TYPE_CHECKING

from recipes.domain.drawing import Picture, draw, grams
from recipes.domain.molds import Mold as Shape
from recipes.domain.molds import fill_height_nm, fill_volume_nl, full_volume_nl
from recipes.domain.pours import PouredLayer, stack
from recipes.domain.scaled import FatTarget
from recipes.domain.scaling import scale
from recipes.domain.sections import section_of
from recipes.queries.batches import batch_by_code
from recipes.queries.formulas import load_formula
from recipes.queries.molds import cut_of, mold_by_code, shape_of
from recipes.services.portions import Portions, portions_of
from studio.errors import NotFound
from studio.units import NL_PER_ML

if TYPE_CHECKING:
    from recipes.models import Batch, Mold


def drawing_of_mold(code: str) -> str:
    """The section of an empty mold with its fill line, as SVG. One query.

    Raises NotFound, and InvalidInput for a mold that was measured without a depth.
    """
    return drawing_of(mold_by_code(code))


def drawing_of(mold: "Mold", *, narrow: bool = False) -> str:
    """The same of a mold that was read already, or is being written. No query.

    `narrow` draws for a page rather than for paper.
    """
    cut = cut_of(mold)
    facts = [
        ("Holds to the fill line", milliliters(fill_volume_nl(cut.mold, cut.fill_height_nm))),
        ("Holds to the rim", milliliters(full_volume_nl(cut.mold))),
    ]
    return draw(
        Picture(
            title=f"Mold {mold.name}",
            section=section_of(cut.mold),
            fill_height_nm=cut.fill_height_nm,
            facts=facts,
        ),
        narrow=narrow,
    )


def drawing_of_batch(code: str) -> str:
    """The section of a batch's mold with its layers and fill line, as SVG.

    A fixed number of queries. Raises NotFound, also for a batch that fills no mold, and
    InvalidInput for a mold that was measured without a depth.
    """
    batch = batch_by_code(code)
    return drawing_of_made(batch, portions_of(batch))


def drawing_of_made(batch: "Batch", made: Portions, *, narrow: bool = False) -> str:
    """The same of a batch whose portions were read already; `narrow` draws for a page."""
    if batch.mold is None:
        raise NotFound(f"Batch {batch.code} fills no mold: there is nothing to draw.", field="mold")
    shape = shape_of(batch.mold)
    section = section_of(shape)
    volume, too_much = _volume_in(batch, shape)
    height = fill_height_nm(shape, volume)
    return draw(
        Picture(
            title=f"Batch {batch.code} in {batch.mold.name}",
            section=section,
            fill_height_nm=height,
            layers=layers_in(made, batch.mold, height),
            facts=_facts(made, batch, volume, too_much),
        ),
        narrow=narrow,
    )


def layers_in(made: Portions, mold: "Mold", height_nm: int) -> tuple[PouredLayer, ...]:
    """Where the layers of a split batter lie in a mold that is filled to a height. No query."""
    return stack(
        [weight.layer for weight in made.layers],
        [weight.mass_ng for weight in made.layers],
        section=section_of(shape_of(mold)),
        fill_height_nm=height_nm,
    )


def milliliters(volume_nl: int) -> str:
    """A volume as text, to a milliliter."""
    return f"{volume_nl / NL_PER_ML:.0f} mL"


def _volume_in(batch: "Batch", shape: Shape) -> tuple[int, int]:
    """nL in the mold by the plan, and what of the batter does not fit."""
    full = full_volume_nl(shape)
    if batch.target.get("kind") == "volume":
        return min(int(batch.target["volume_nl"]), full), 0
    version = batch.version
    soap = load_formula(code=version.formula.code, number=version.number).soap
    if soap is None:
        raise NotFound(f"Batch {batch.code} is a blend, which fills no mold.", field="mold")
    scaled = scale(
        soap,
        FatTarget(batch.fats),
        pour_temperature_c=version.pour_temperature_c,
        resolution=version.resolution,
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
