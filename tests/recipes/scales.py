"""Two scales as a studio has them: a fine one for the bench, and one that holds a bucket."""

from recipes.models.scales.scales import Scale
from recipes.services.scales.scales import add_scale

MG, G, KG = 10**6, 10**9, 10**12


def make_scales(*, bench: int = 100 * MG, holds: int = 500 * G) -> tuple[Scale, Scale]:
    """The bench scale shows `bench` and holds `holds` (ng), the floor scale 5 g up to 60 kg."""
    return (
        add_scale(code="bench", name="Bench scale", step=bench, capacity=holds),
        add_scale(code="floor", name="Floor scale", step=5 * G, capacity=60 * KG),
    )
