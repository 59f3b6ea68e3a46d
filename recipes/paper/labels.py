"""Labels on sheets: bars, batches on the rack, lots on the shelf. Texts are set by `labels.typ`."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings

from inventory.domain.catalog.materials import MaterialKind
from inventory.queries.stock.certificates import LotLabel
from recipes.domain.labels.grid import LabelGrid
from recipes.errors import LabelRefusal
from recipes.models.bench.batches import Batch
from recipes.paper.amounts import OUNCE_NG, amount_text
from recipes.services.labels.labels import LOCAL_LAW, BarLabel
from studio.foundation.paper.codes import qr_svg
from studio.foundation.paper.rendering import Paper, PaperRefusal, render_pdf
from studio.foundation.units.registry import NG_PER_G, NM_PER_MM
from studio.foundation.units.writing import percent

TEMPLATE = Path(__file__).with_name("labels.typ")
#: Room that the statement about local law needs in a margin.
STATEMENT_ROOM = 5 * NM_PER_MM
LYE_CAUTION = (
    "Corrosive: burns skin and eyes. Goggles, gloves and long sleeves. Add lye to water, never"
    " water to lye. Keep closed, dry, away from children and animals. On skin or in eyes: rinse at"
    " once with plenty of water for at least 15 minutes and seek medical help."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label: a title, lines of one or more (name, text), and the address its code opens."""

    title: str
    lines: tuple[tuple[tuple[str, str], ...], ...]
    address: str = ""


def bar_label_words(label: BarLabel) -> Label:
    """A bar's label in words; it carries no code, for it is read by whoever buys the soap."""
    infused = ", ".join(label.infused_with)
    facts = [("Lot", label.lot_code)]
    if label.net_weight_ng is not None:
        facts.insert(0, ("Net wt", net_weight_text(label.net_weight_ng)))
    if label.best_before is not None:
        facts.append(("Best before", label.best_before.isoformat()))
    return Label(
        title=label.batch.version.formula.name,
        lines=(
            (("Ingredients:", ", ".join(label.ingredients) + "."),),
            *(((("Infused with", f"{infused}."),),) if infused else ()),
            tuple(facts),
            (("", " ".join(label.cautions)),),
            (("", settings.STUDIO_NAME),),
        ),
    )


def batch_label_words(batch: Batch) -> Label:
    """A batch's label for the curing rack, with a code that opens the batch."""
    lines = [("Batch", batch.code)]
    for name, day in (
        ("Poured", batch.poured_on),
        ("Cut", batch.cut_on),
        ("Ready not before", batch.cure_ready_on),
    ):
        lines.append((name, _day(day)))
    if batch.superfat_poured is not None:
        lines.append(("Superfat as poured", percent(batch.superfat_poured)))
    if batch.bars_good is not None:
        lines.append(("Bars", str(batch.bars_good)))
    return Label(
        title=batch.version.formula.name,
        lines=tuple((line,) for line in lines),
        address=address(f"/api/v1/batches/{batch.code}/"),
    )


def lot_label_words(lot: LotLabel) -> Label:
    """The label of a lot's container; its code opens the lot, and alkali carries its caution."""
    lines = [("Lot", lot.code)]
    if lot.inci_name:
        lines.append(("INCI", lot.inci_name))
    if lot.supplier:
        beside = f", lot {lot.supplier_lot}" if lot.supplier_lot else ""
        lines.append(("From", lot.supplier + beside))
    lines.append(("Came in", f"{_day(lot.received_on)}, {_amount(lot)}"))
    lines.append(("Best before", _day(lot.best_before)))
    if lot.alkali or lot.kind == MaterialKind.ALKALI.value:
        lines.append(("Danger.", LYE_CAUTION))
    return Label(
        title=lot.material,
        lines=tuple((line,) for line in lines),
        address=address(f"/api/v1/lots/{lot.code}/"),
    )


def label_sheet(
    label: Label, grid: LabelGrid, *, count: int, paper: Paper, outline: bool = False
) -> bytes:
    """`count` of a label as PDF. `outline` draws the labels' edges, to try a grid on plain paper.

    Raises LabelRefusal when the words do not fit at the smallest type.
    """
    try:
        return render_pdf(TEMPLATE, _values(label, grid, count=count, outline=outline), paper=paper)
    except PaperRefusal as refusal:
        if "label-overfull" not in str(refusal):
            raise
        raise LabelRefusal(
            "The words do not fit on a label of this size; take fewer rows or columns.",
            field="rows",
        ) from refusal


def net_weight_text(mass_ng: int) -> str:
    """A declared weight in both systems (16 CFR 500 asks for both), neither rounded up."""
    tenths = mass_ng * 10 // NG_PER_G
    grams = f"{tenths / 10:.1f}".removesuffix(".0")
    hundredths = mass_ng * 100 // OUNCE_NG
    return f"{hundredths / 100:.2f} oz ({grams} g)"


def address(path: str) -> str:
    """Where a code leads."""
    return settings.STUDIO_URL.rstrip("/") + path


def _values(label: Label, grid: LabelGrid, *, count: int, outline: bool) -> Mapping[str, Any]:
    rooms = {"bottom": grid.bottom_nm, "top": grid.margin_top_nm}
    at = next((place for place, room in rooms.items() if room >= STATEMENT_ROOM), "")
    words = {
        "title": label.title,
        "lines": [[{"name": name, "text": text} for name, text in line] for line in label.lines],
        "code": qr_svg(label.address) if label.address else "",
        "alt": f"Code that opens {label.address}",
    }
    return {
        "title": f"Labels: {label.title}",
        "labels": [words],
        "width": grid.width_nm,
        "height": grid.height_nm,
        "margin-top": grid.margin_top_nm,
        "margin-bottom": grid.bottom_nm,
        "statement": LOCAL_LAW,
        "statement-at": at,
        "statement-inside": not at,
        "outline": outline,
        "pages": [
            [{"x": place.x_nm, "y": place.y_nm, "label": 0} for place in page]
            for page in grid.pages(count)
        ],
    }


def _day(day: date | None) -> str:
    return day.isoformat() if day else "-"


def _amount(lot: LotLabel) -> str:
    return amount_text(lot.amount, counted=lot.unit == "each")
