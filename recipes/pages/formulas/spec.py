"""From what is written on the page to what the services take, and back."""

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from inventory.queries.catalog.choices import materials_with_acids
from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.formula import ZERO, Basis, Stage
from recipes.domain.formulas.portions import Portion
from recipes.pages.formulas.amounts import write_amount
from recipes.pages.formulas.forms import Written
from recipes.queries.formulas.formulas import LoadedFormula
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from studio.foundation.units.writing import grams, percent

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
    "minutes": 0,
}
#: What a blend is not asked.
OF_SOAP = (*ALKALIS, "koh_share", "superfat", "lye_concentration", "cure_days", "cure_loss_share")


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
        portion=line["portion"] if soap else "",
    )


def written_as(loaded: LoadedFormula) -> dict[str, Any]:
    """A version as its page writes it."""
    version = loaded.version
    settings = {
        name: getattr(version, name)
        for name in (*_DEFAULTS, "superfat", "lye_concentration", "rinse_share", "note")
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
