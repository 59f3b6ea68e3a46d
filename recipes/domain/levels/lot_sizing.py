"""How large a batch of a blend to make: at least what is short, in steps of its scale."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.chemistry.blends import BlendLine, ScaledBlend, scale_blend
from recipes.domain.formulas.formula import ZERO
from recipes.domain.levels.explosion import Sized
from recipes.domain.weighing import LARGEST, up_to_step
from recipes.errors import ScalingRefusal


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendMaker:
    """A blend as the explosion sees it: `materials` name those of `lines`, in their order.

    Amounts in ng; `least_make` is the smallest batch worth making; `makes` as in `check_blend`.
    """

    name: str
    lines: Sequence[BlendLine]
    materials: Sequence[int]
    resolution: int
    loss_share: Decimal = ZERO
    least_make: int = 0
    ready_days: int = 0
    makes: str = ""

    def size(self, wanted: int) -> Sized:
        """The smallest target in steps of the scale whose output is at least `wanted` ng.

        Each line is rounded to the scale, so a target's output may fall short of it by half a step
        a line; the target grows by what is missing. Raises ScalingRefusal above 10 t.
        """
        least = max(wanted, self.least_make)
        target = up_to_step(Decimal(least), self.resolution)
        while (blend := self._scaled(target)).output_ng < wanted:
            missing = Decimal(wanted - blend.output_ng)
            target += up_to_step(missing, self.resolution)
        return Sized(target=target, output=blend.output_ng, needs=self._needs(blend))

    def _scaled(self, target: int) -> ScaledBlend:
        if target > LARGEST:
            raise ScalingRefusal(
                f"More than 10 t of {self.name} would be needed at once.", field="target"
            )
        return scale_blend(
            self.lines, target, self.resolution, makes=self.makes, loss_share=self.loss_share
        )

    def _needs(self, blend: ScaledBlend) -> Mapping[int, int]:
        needs: dict[int, int] = {}
        for material, weight in zip(self.materials, blend.weights, strict=True):
            if weight.rounded_ng:
                needs[material] = needs.get(material, 0) + weight.rounded_ng
        return needs
