"""Portions and layers of versions, plans and batches, with what each weighs."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from recipes.domain.bench.pours import Layer, Pour, layer_masses, pour_order
from recipes.domain.formulas.formula import PortionWeight, Stage, split_batter
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import FormulaPortion, FormulaVersion, PourLayer
from recipes.queries.formulas.formulas import pour_of
from recipes.queries.scaling.plans import Plan


@dataclass(frozen=True, slots=True)
class LayerWeight:
    """One pour, in the order of the bench, with its mass in ng."""

    layer: Layer
    mass_ng: int


@dataclass(frozen=True, slots=True)
class Portions:
    """A batter split in portions and poured in layers. Both are empty where it is not split.

    The portions sum to the batter, and so do the layers, to the last nanogram.
    """

    portions: tuple[PortionWeight, ...]
    layers: tuple[LayerWeight, ...]

    @property
    def total_ng(self) -> int:
        """All portions together."""
        return sum(portion.total_ng for portion in self.portions)


def keep_pour(version: FormulaVersion, pour: Pour) -> None:
    """Store the portions and layers of a version in place of those it had. Checked before."""
    version.portions.all().delete()
    version.layers.all().delete()
    FormulaPortion.objects.bulk_create(
        FormulaPortion(version=version, position=position, name=part.name, share=part.share)
        for position, part in enumerate(pour.portions)
    )
    PourLayer.objects.bulk_create(
        PourLayer(
            version=version,
            position=position,
            portion=layer.portion,
            share=layer.share,
            place=layer.place.value,
            note=layer.note,
        )
        for position, layer in enumerate(pour.layers)
    )


def portions_of(made: Plan | Batch) -> Portions:
    """The portions of a plan or a batch, by its planned weights; of a poured batch by the actual.

    Two queries for a batch whose version and lines are loaded, one more where the lines are not.
    """
    if isinstance(made, Plan):
        soap = made.loaded.soap
        pour = Pour(soap.portions if soap else (), made.loaded.layers)
        colorants = (
            (line.portion, line.mass_ng) for line in made.lines if line.stage is Stage.PORTION
        )
        return _weighed(pour, made.output_ng, colorants)
    return _of_batch(made)


def _of_batch(batch: Batch) -> Portions:
    pour = pour_of(batch.version)
    if not pour.portions:
        return Portions((), ())
    mass, colorants = batch.batter, []
    for row in batch.lines.all():
        amount = row.planned if row.actual is None else row.actual
        if row.stage not in _UNPOURED:
            mass += row.material.mass_of(amount - row.planned)
        if row.stage == Stage.PORTION.value:
            colorants.append((row.portion, row.material.mass_of(amount)))
    return _weighed(pour, mass, colorants)


_UNPOURED = frozenset({Stage.TOP.value, Stage.PACK.value})


def _weighed(pour: Pour, batter_ng: int, colorants: Iterable[tuple[str, int]]) -> Portions:
    by_portion: dict[str, int] = defaultdict(int)
    for name, mass in colorants:
        by_portion[name] += mass
    weights = split_batter(pour.portions, batter_ng=batter_ng, colorants_ng=by_portion)
    order = pour_order(pour.layers, pour.portions)
    masses = layer_masses(order, {weight.name: weight.total_ng for weight in weights})
    return Portions(
        weights,
        tuple(LayerWeight(layer, mass) for layer, mass in zip(order, masses, strict=True)),
    )
