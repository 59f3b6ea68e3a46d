"""Molds from their rows, as the geometry sees them."""

from collections.abc import Iterable

from recipes.domain.molds import molds as geometry
from recipes.domain.molds import shapes
from recipes.models.molds.molds import Mold, MoldShape
from studio.foundation.errors import NotFound


def mold_by_code(code: str) -> Mold:
    """The mold with this code. One query. Raises NotFound."""
    try:
        return Mold.objects.get(code=code)
    except Mold.DoesNotExist:
        raise NotFound(f"There is no mold {code}.", field="mold") from None


def molds_by_code(codes: Iterable[str]) -> dict[str, Mold]:
    """The molds that have one of these codes, by code. One query."""
    return {mold.code: mold for mold in Mold.objects.filter(code__in=set(codes))}


def active_molds() -> list[Mold]:
    """The molds in use, by code. One query."""
    return list(Mold.objects.filter(active=True).order_by("code"))


def shape_of(mold: Mold) -> shapes.Mold:
    """The shape of a mold, with all cavities. Raises InvalidInput for sizes that cannot be."""
    cavity = _cavity(mold)
    if mold.cavities == 1:
        return cavity
    return shapes.CavityMold(count=mold.cavities, cavity=cavity)


def cut_of(mold: Mold) -> geometry.MoldCut:
    """The mold as it is filled and cut. Raises InvalidInput for a cut that makes no bars."""
    return geometry.MoldCut(
        mold=shape_of(mold),
        cut=geometry.GridCut(
            rows=1 if mold.shape == MoldShape.SLAB else mold.rows,
            columns=1 if mold.shape == MoldShape.SLAB else mold.columns,
            layers=mold.layers,
            trim_nm=mold.trim,
        ),
        fill_height_nm=mold.fill_height,
    )


def _cavity(mold: Mold) -> shapes.Cavity:
    length, width, depth = mold.length or 0, mold.width or 0, mold.depth or 0
    match MoldShape(mold.shape):
        case MoldShape.RECTANGULAR:
            return shapes.RectangularMold(length_nm=length, width_nm=width, depth_nm=depth)
        case MoldShape.TAPERED:
            return shapes.TaperedMold(
                bottom_length_nm=length,
                bottom_width_nm=width,
                top_length_nm=mold.top_length or 0,
                top_width_nm=mold.top_width or 0,
                depth_nm=depth,
            )
        case MoldShape.CYLINDER:
            return shapes.UprightCylinder(diameter_nm=mold.diameter or 0, height_nm=depth)
        case MoldShape.LYING_CYLINDER:
            return shapes.LyingCylinder(diameter_nm=mold.diameter or 0, length_nm=length)
        case MoldShape.SLAB:
            return shapes.Slab(
                length_nm=length,
                width_nm=width,
                depth_nm=depth,
                rows=mold.rows,
                columns=mold.columns,
                divider_nm=mold.divider,
            )
        case MoldShape.MEASURED:
            return shapes.MeasuredMold(volume_nl=mold.measured_volume or 0, depth_nm=mold.depth)
