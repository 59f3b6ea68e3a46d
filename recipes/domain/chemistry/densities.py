"""Densities in g/mL: lye by concentration and temperature, fats at a temperature.

Values come from published tables and are interpolated between neighbors, never extrapolated.
They size a batch to a mold; no weight of lye depends on them.
"""

from bisect import bisect_left
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache

from recipes.domain.chemistry.tables import rows
from recipes.errors import OutsideTable

#: A liquid fat loses about this much g/mL per degree C; textbook average between 15.5 and 98 C.
FAT_DENSITY_FALL_PER_C = Decimal("0.0007")

_PLACES = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class Curve:
    """Values at rising points, straight lines between them."""

    points: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, point: float) -> float:
        """The value at `point`, which must lie within the points."""
        above = bisect_left(self.points, point)
        if self.points[above] == point:
            return self.values[above]
        below = above - 1
        part = (point - self.points[below]) / (self.points[above] - self.points[below])
        return self.values[below] + part * (self.values[above] - self.values[below])


@dataclass(frozen=True, slots=True)
class SolutionTable:
    """Density by percent of solute: a curve over temperature for each tabulated percent."""

    solute: str
    percents: tuple[float, ...]
    curves: tuple[Curve, ...]

    def at(self, *, percent: float, temperature_c: float) -> float:
        """Density in g/mL, linear in temperature and then in percent. Raises `OutsideTable`."""
        self._stay_inside(percent, temperature_c)
        above = bisect_left(self.percents, percent)
        if self.percents[above] == percent:
            return self.curves[above].at(temperature_c)
        near = slice(above - 1, above + 1)
        ends = tuple(curve.at(temperature_c) for curve in self.curves[near])
        return Curve(self.percents[near], ends).at(percent)

    def _stay_inside(self, percent: float, temperature_c: float) -> None:
        coldest, hottest = self.curves[0].points[0], self.curves[0].points[-1]
        if not coldest <= temperature_c <= hottest:
            raise OutsideTable(
                f"The density of {self.solute} lye is known from {coldest:g} to {hottest:g} °C,"
                f" not at {temperature_c:g} °C.",
                field="pour_temperature_c",
            )
        if not self.percents[0] <= percent <= self.percents[-1]:
            raise OutsideTable(
                f"The density of {self.solute} lye is known up to {self.percents[-1]:g} % by mass,"
                f" not at {percent:g} %.",
                field="lye_concentration",
            )


@cache
def _solution(name: str, solute: str) -> SolutionTable:
    heading, *body = rows(name)
    temperatures = [float(cell) for cell in heading[1:]]
    curves = []
    for row in body:
        cells = [(t, float(cell)) for t, cell in zip(temperatures, row[1:], strict=True) if cell]
        points, values = zip(*cells, strict=True)
        curves.append(Curve(points, values))
    return SolutionTable(solute, tuple(float(row[0]) for row in body), tuple(curves))


@lru_cache(maxsize=1024)
def lye_density_g_ml(*, naoh_share: Decimal, koh_share: Decimal, temperature_c: Decimal) -> Decimal:
    """Density of a lye holding these shares by mass of NaOH and KOH.

    Of a mixed lye it is the mean of the two pure lyes of the same total concentration, weighted by
    the mass of each alkali: an approximation (no published table of the mixture), good where one
    of the two is the small part. Raises `OutsideTable` above 50 %, and outside 0 to 100 °C for
    NaOH, 5 to 90 °C for KOH. Sources: the tables' own headings.
    """
    total = naoh_share + koh_share
    percent, temperature = float(total * 100), float(temperature_c)
    naoh = _solution("naoh_density.csv", "NaOH")
    if not koh_share:
        return _exact(naoh.at(percent=percent, temperature_c=temperature))
    of_koh = _solution("koh_density.csv", "KOH").at(percent=percent, temperature_c=temperature)
    if not naoh_share:
        return _exact(of_koh)
    of_naoh = naoh.at(percent=percent, temperature_c=temperature)
    part = float(koh_share / total)
    return _exact(of_naoh + part * (of_koh - of_naoh))


def fat_density_g_ml(
    *, density_g_ml: Decimal, measured_at_c: Decimal, temperature_c: Decimal
) -> Decimal:
    """Density of a fat at another temperature: less 0.0007 g/mL per degree C of warming.

    Holds only while the fat is fully liquid at both temperatures; weigh a solid fat.
    """
    return density_g_ml - FAT_DENSITY_FALL_PER_C * (temperature_c - measured_at_c)


def _exact(value: float) -> Decimal:
    return Decimal(value).quantize(_PLACES)
