"""From what is written on the page to what the services take, and back, with the totals so far."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from inventory.domain.catalog.descriptions import TRIVIAL_NAMES
from inventory.queries.catalog.materials import materials_with_acids
from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.amount_words import write_amount
from recipes.domain.formulas.formula import ZERO, Basis, Portion, Stage
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine
from recipes.pages.formulas.forms import Written
from recipes.queries.formulas.formulas import LoadedFormula
from recipes.services.formulas.fats_profile import FatsSummary, summary_of
from recipes.services.formulas.formulas import LineSpec, VersionSpec, draft_version
from recipes.services.formulas.version_check import check_version
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.ranges import RangedShare, bars_with_band
from studio.foundation.units.writing import grams, percent
from studio.web.pages.forms import place_faults

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

ALKALIS = ("naoh", "koh", "masterbatch", "water")
#: What stays as the services have it by default where nothing is written.
_DEFAULTS: Mapping[str, Any] = {
    "koh_share": ZERO,
    "pot_loss_share": ZERO,
    "cure_loss_share": ZERO,
    "pour_temperature_c": Decimal(40),
    "weekly_loss_limit": Decimal("0.01"),
    "resolution": 10**9,
    "cure_days": 0,
    "ready_days": 0,
}
#: What a blend is not asked.
OF_SOAP = (*ALKALIS, "koh_share", "superfat", "lye_concentration", "cure_days", "cure_loss_share")
#: Acids below this share of the blend, and of its range, are not drawn.
_LEAST = 5 / 1000
_NAMES = {acid: name for name, acid in TRIVIAL_NAMES.items()}


def spec_of(written: Written, *, soap: bool) -> VersionSpec:
    """What is written, where it can be read: rows that cannot are left out. Two queries."""
    lines = [form.cleaned_data for form in readable(written.lines)]
    settings = dict(written.version.cleaned_data)
    if not soap:
        settings |= dict.fromkeys(OF_SOAP)
    codes = [settings[name] for name in ALKALIS if settings.get(name)]
    known = materials_with_acids([*codes, *(line["code"] for line in lines)])
    for name, default in _DEFAULTS.items():
        if settings.get(name) is None:
            settings[name] = default
    settings |= {name: known.get(settings.get(name) or "") for name in ALKALIS}
    return VersionSpec(
        lines=[_line(line, known, soap=soap) for line in lines],
        pour=pour_in(written) if soap else Pour(),
        **settings,
    )


def pour_in(written: Written) -> Pour:
    """The portions and layers that are written and can be read."""
    return Pour(
        tuple(
            Portion(row.cleaned_data["name"], row.cleaned_data["share"])
            for row in readable(written.portions)
        ),
        tuple(
            Layer(row["portion"], row["share"], Place(row["place"]), row["note"])
            for row in (form.cleaned_data for form in readable(written.layers))
        ),
    )


def readable(rows: Any) -> list[Any]:
    """The rows of a formset that are filled in and can be read."""
    return [form for form in rows.forms if form.has_changed() and form.is_valid()]


def _line(line: Mapping[str, Any], known: "Mapping[str, Material]", *, soap: bool) -> LineSpec:
    return LineSpec(
        material=known[line["code"]],
        basis=Basis(line["basis"]),
        amount=line["read"],
        stage=Stage(line["stage"]) if soap else Stage.FATS,
        counts_as_water=soap and line["counts_as_water"],
        strained=not soap and line["strained"],
        portion=line["portion"] if soap else "",
    )


def written_as(loaded: LoadedFormula) -> dict[str, Any]:
    """A version as its page writes it."""
    version = loaded.version
    settings = {
        name: getattr(version, name)
        for name in (*_DEFAULTS, "minutes", "superfat", "lye_concentration", "rinse_share", "note")
    }
    settings |= {name: getattr(getattr(version, name), "code", "") for name in ALKALIS}
    settings["resolution"] = grams(version.resolution)
    settings["pour_temperature_c"] = f"{version.pour_temperature_c.normalize():f} degC"
    return {
        "version": settings,
        "lines": [
            {
                "material": row.material.name,
                "amount": write_amount(row.amount, Basis(row.basis), counted=row.material.counted),
                "basis": row.basis,
                "stage": row.stage,
                "portion": row.portion,
                "counts_as_water": row.counts_as_water,
                "strained": row.strained,
            }
            for row in loaded.rows
        ],
        "portions": [
            {"name": part.name, "share": percent(part.share, 4)}
            for part in (loaded.soap.portions if loaded.soap else ())
        ],
        "layers": [
            {
                "portion": layer.portion,
                "share": percent(layer.share, 4),
                "place": layer.place.value,
                "note": layer.note,
            }
            for layer in loaded.layers
        ],
    }


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
