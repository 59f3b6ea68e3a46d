"""The totals of a recipe while it is being written: nothing is stored."""

from dataclasses import dataclass
from typing import Any

from inventory.domain.catalog.fatty_acids import TRIVIAL_NAMES
from recipes.domain.formulas.formula import Basis
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine
from recipes.pages.formulas.forms import Written
from recipes.pages.formulas.spec import readable, spec_of
from recipes.services.formulas.fats_profile import FatsSummary, summary_of
from recipes.services.formulas.formulas import draft_version
from recipes.services.formulas.version_check import check_version
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.ranges import RangedShare, bars_with_band
from studio.foundation.units.writing import percent
from studio.web.pages.forms import place_faults

#: Acids below this share of the blend, and of its range, are not drawn.
_LEAST = 5 / 1000
_NAMES = {acid: name for name, acid in TRIVIAL_NAMES.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What is said beside a recipe that is being written."""

    is_soap: bool
    fats: FatsSummary
    chart: Chart | None
    whole: str
    missing: str
    excess: str

    @property
    def is_empty(self) -> bool:
        """Whether nothing can be summed yet."""
        return self.whole == "0 %"


def draft_of(written: Written, *, soap: bool) -> Draft:
    """Totals of what can be read so far; what the rules refuse is put beside its field."""
    written.is_valid()
    spec = spec_of(written, soap=soap)
    kind = FormulaKind.SOAP if soap else FormulaKind.BLEND
    version, rows = draft_version(Formula(code="draft", name="Draft", kind=kind), spec)
    if rows:
        try:
            check_version(version, rows, spec.pour)
        except FormulaRefusal as refusal:
            place_faults(refusal, written.version, rows=_read_rows(written))
    return _draft(rows, soap=soap)


def _read_rows(written: Written) -> Any:
    return {name: _Kept(rows) for name, rows in written.rows.items()}


class _Kept:
    """The rows of a formset that were read: only these went into the draft."""

    def __init__(self, rows: object) -> None:
        self.forms = readable(rows)


def _draft(rows: list[FormulaLine], *, soap: bool) -> Draft:
    fats = summary_of(rows)
    total = fats.total
    if not soap:
        total = sum((row.amount for row in rows if row.basis == Basis.OF_BATTER.value), total * 0)
    missing = 1 - total
    return Draft(
        is_soap=soap,
        fats=fats,
        chart=acids_chart(fats, prefix="draft-acids"),
        whole=percent(total, 4),
        missing=percent(missing, 4) if missing > 0 else "",
        excess=percent(-missing, 4) if missing < 0 else "",
    )


def acids_chart(fats: FatsSummary, *, prefix: str) -> Chart | None:
    """The fatty acids of a blend beside the weighted published ranges; None without any."""
    ranges = fats.ranges.acids
    bars = [
        RangedShare(
            label=f"{acid} {_NAMES.get(acid, '')}".strip(),
            share=share,
            text=percent(share, 1),
            low=ranges[acid][0] if acid in ranges else None,
            high=ranges[acid][1] if acid in ranges else None,
            range_text=f"{percent(ranges[acid][0], 1)} to {percent(ranges[acid][1], 1)}"
            if acid in ranges
            else "",
        )
        for acid, share in fats.profile.fatty_acids.items()
        if share >= _LEAST or (acid in ranges and ranges[acid][0] >= _LEAST)
    ]
    if not bars:
        return None
    standards = " and ".join(fats.ranges.standards)
    return bars_with_band(
        prefix=prefix,
        title="Fatty acids of the fats",
        bars=bars,
        range_name=f"range in {standards}" if standards else "Range",
    )
