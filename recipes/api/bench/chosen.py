"""Lots and weights that a maker names, by the codes of materials and the numbers of lines."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rest_framework import serializers

from inventory.queries.stock.candidates import Choices, ChosenLot
from recipes.api.version_fields import MaterialCode
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.actuals import Reading
from studio.foundation.errors import Faults, InvalidInput, NotFound, Refusal
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import Dimension
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import QuantityField

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

ANY_STOCK = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
MOST_CHOSEN = 500


class ChosenSerializer(StrictSerializer):
    """A lot to use first for a material; without an amount, as much of it as is needed."""

    material = MaterialCode()
    lot = serializers.SlugField(max_length=40)
    amount = QuantityField(dimensions=ANY_STOCK, required=False)


class ActualSerializer(StrictSerializer):
    """What was really weighed or counted of a line of the batch, by its position."""

    position = serializers.IntegerField(min_value=0, max_value=10**6)
    amount = QuantityField(dimensions=ANY_STOCK)


class PackedSerializer(StrictSerializer):
    """What was really used of a packaging material."""

    material = MaterialCode()
    amount = QuantityField(dimensions=ANY_STOCK)


@dataclass(frozen=True, slots=True)
class BenchNames:
    """The materials and lines of one batch, by the names that requests use."""

    materials: Mapping[str, "Material"]
    lines: Mapping[int, "Material"]

    def choices(self, given: Sequence[Mapping[str, Any]]) -> "NamedChoices":
        """Chosen lots as the services read them. Raises InvalidInput with every fault."""
        faults = Faults()
        choices: dict[int, list[ChosenLot]] = defaultdict(list)
        places: dict[str, str] = {}
        for index, one in enumerate(given):
            path = f"chosen.{index}"
            material = self._material(one["material"], f"{path}.material", faults)
            if material is None:
                continue
            amount = None
            if "amount" in one:
                amount = _stock(one["amount"], material, f"{path}.amount", faults)
            places[f"chosen.{material.pk}.{len(choices[material.pk])}"] = path
            places.setdefault(f"chosen.{material.pk}", path)
            choices[material.pk].append(ChosenLot(code=one["lot"], amount=amount))
        faults.raise_if_any(InvalidInput)
        return NamedChoices(dict(choices), places)

    def actual(self, given: Sequence[Mapping[str, Any]]) -> dict[int, int]:
        """Weights by position in stock units. Raises InvalidInput with every fault."""
        faults = Faults()
        amounts: dict[int, int] = {}
        for index, one in enumerate(given):
            path, position = f"actual.{index}", one["position"]
            material = self.lines.get(position)
            if material is None:
                faults.add("unknown-line", f"The batch has no line {position}.", f"{path}.position")
            elif position in amounts:
                faults.add("line-twice", f"Line {position} is given twice.", f"{path}.position")
            else:
                amounts[position] = _stock(one["amount"], material, f"{path}.amount", faults)
        faults.raise_if_any(InvalidInput)
        return amounts

    def reading(self, given: Mapping[str, Any], *, written: str) -> Reading:
        """A reading of one line in stock units. Raises InvalidInput with every fault."""
        faults = Faults()
        material = self.lines.get(given["position"])
        if material is None:
            raise InvalidInput(f"The batch has no line {given['position']}.", field="position")
        amount = _stock(given["amount"], material, "amount", faults)
        lots = [
            ChosenLot(
                code=one["lot"],
                amount=_stock(one["amount"], material, f"lots.{index}.amount", faults)
                if "amount" in one
                else None,
            )
            for index, one in enumerate(given.get("lots", ()))
        ]
        faults.raise_if_any(InvalidInput)
        return Reading(
            position=given["position"],
            amount=amount,
            lots=lots,
            written=written,
            note=given["note"],
        )

    def packed(self, given: Sequence[Mapping[str, Any]]) -> dict[int, int]:
        """Packaging used, by material id in stock units. Raises InvalidInput with every fault."""
        faults = Faults()
        amounts: dict[int, int] = {}
        for index, one in enumerate(given):
            path = f"packed.{index}"
            material = self._material(one["material"], f"{path}.material", faults)
            if material is None:
                continue
            if material.pk in amounts:
                faults.add("material-twice", f"{material.name} is given twice.", path)
            amounts[material.pk] = _stock(one["amount"], material, f"{path}.amount", faults)
        faults.raise_if_any(InvalidInput)
        return amounts

    def _material(self, code: str, path: str, faults: Faults) -> "Material | None":
        found = self.materials.get(code)
        if found is None:
            faults.add("unknown-material", f"The batch has no material {code}.", path)
        return found


@dataclass(frozen=True, slots=True)
class NamedChoices:
    """Choices by material id, and where in the request each of them stands."""

    choices: Choices
    places: Mapping[str, str]

    @contextmanager
    def told(self) -> Iterator[None]:
        """Refusals about chosen lots name the place in the request instead of ids."""
        try:
            yield
        except Refusal as refusal:
            faults = [replace(fault, field=self._place(fault.field)) for fault in refusal.faults]
            raise type(refusal)(faults=faults) from refusal

    def _place(self, field: str) -> str:
        for known in (field, ".".join(field.split(".")[:3]), ".".join(field.split(".")[:2])):
            if known in self.places:
                return self.places[known] + field.removeprefix(known)
        return field


def names_of(code: str) -> BenchNames:
    """The materials and lines of a batch. One query. Raises NotFound."""
    rows = list(BatchLine.objects.select_related("material").filter(batch__code=code))
    if not rows and not Batch.objects.filter(code=code).exists():
        raise NotFound(f"There is no batch {code}.", field="batch")
    return BenchNames(
        materials={row.material.code: row.material for row in rows},
        lines={row.position: row.material for row in rows},
    )


def _stock(quantity: Quantity, material: "Material", path: str, faults: Faults) -> int:
    try:
        return stock_amount(quantity, counted=material.counted, density_g_ml=material.density_g_ml)
    except UnitRefusal as refusal:
        for fault in refusal.faults:
            faults.add(fault.code, f"{material.name}: {fault.message}", path)
        return 0
