"""Recipes as a table: each is written whole; a changed one becomes a trial beside the current."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from inventory.queries.catalog.materials import materials_by_code
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaVersion
from recipes.queries.formulas.current import current_only
from recipes.services.exchange.formula_rows import (
    ALKALIS,
    EXAMPLE,
    LAYER,
    LAYOUT,
    LINE,
    NEEDED,
    PORTION,
    RECIPE,
    USED,
    any_setting,
    codes_in,
    spec_of,
    spec_written,
    written_rows,
    written_settings,
)
from recipes.services.formulas.formulas import (
    CHANGING,
    VersionSpec,
    add_formula,
    add_version,
    change_formula,
)
from studio.foundation.errors import Faults
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Row
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.writing import grams
from studio.work.cleaning import take_field_faults
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from inventory.models.catalog.materials import Material

#: What the services call otherwise than the table does.
_COLUMN_OF = {"pour_temperature": "pour_temperature_c", "version": "row"}
_PARTS = {"lines": LINE, "portions": PORTION, "layers": LAYER}
Materials = Mapping[str, "Material"]


def take_recipe(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep a recipe as its rows say it: new, with other words, or with a next version."""
    head = _head(rows)
    kept = (
        Formula.objects.select_for_update(of=("self",))
        .select_related("product")
        .filter(code=head.values["code"])
        .first()
    )
    if kept is not None:
        refuse_taken(kept.code, taking)
    product = head.values.get("product")
    materials = materials_by_code(codes_in(rows) | ({product} if product else set()))
    if kept is None:
        formula = _add(head, materials, taking)
        _add_version(formula, head, rows, materials=materials, kept=(), taking=taking)
        return Outcome.CREATED
    changed = _change(kept, head, taking)
    written = _add_version(kept, head, rows, materials=materials, kept=_kept(kept), taking=taking)
    changed = written or changed
    return Outcome.CHANGED if changed else Outcome.UNCHANGED


def _head(rows: Sequence[Row]) -> Row:
    """The recipe's own row. Raises FormulaRefusal for rows that are not what they say they are."""
    faults = Faults()
    heads = [row for row in rows if row.values.get("row") == RECIPE]
    for index, row in enumerate(rows):
        kind = row.values.get("row")
        if kind is None:
            faults.add("needed", "Say what the row is: recipe, line, ...", f"rows.{index}.row")
            continue
        for name, value in row.values.items():
            given = value not in (None, "") and name not in ("code", "row")
            if given and name not in USED[kind]:
                faults.add("not-here", f"A {kind} row leaves this empty.", f"rows.{index}.{name}")
        for name in NEEDED[kind]:
            if row.values.get(name) in (None, ""):
                faults.add("needed", f"A {kind} row needs this.", f"rows.{index}.{name}")
    if len(heads) != 1:
        number = "is none" if not heads else f"are {len(heads)}"
        faults.add(
            "one-recipe-row",
            f"Each recipe has one row that says {RECIPE}; here {number}.",
            "rows.0.row",
        )
    faults.raise_if_any(FormulaRefusal)
    return heads[0]


def _add(head: Row, materials: Materials, taking: Taking) -> Formula:
    values, faults = head.values, Faults()
    for name in ("name", "kind"):
        if values.get(name) in (None, ""):
            faults.add("needed", "A new recipe needs this.", name)
    faults.raise_if_any(FormulaRefusal)
    code, kind = values["code"], FormulaKind(values["kind"])
    product = values.get("product")
    usual = f"{code}-bar" if kind == FormulaKind.SOAP else code
    if product and product not in materials and product != usual:
        faults.add("unknown-material", f"There is no material {product}.", "product")
    formula = Formula(code=code, name=values["name"], note=values.get("note") or "")
    take_field_faults(faults, formula, only=("code", "name", "note"))
    faults.raise_if_any(FormulaRefusal)
    return add_formula(
        code=code,
        name=values["name"],
        kind=kind,
        note=values.get("note") or "",
        product=materials.get(product) if product else None,
        least_make=_least(head),
        active=values.get("active") is not False,
    )


def _change(formula: Formula, head: Row, taking: Taking) -> bool:
    """Keep other words of a recipe; whether there were any. What it makes stays."""
    values, faults = head.values, Faults()
    for name, stands in (("kind", formula.kind), ("product", formula.product.code)):
        if values.get(name) not in (None, "", stands):
            faults.add("fixed", f"It stays {stands}: make a new recipe instead.", name)
    given: dict[str, Any] = {}
    if "name" in values:
        given["name"] = values["name"] or ""
    if "note" in values:
        given["note"] = values["note"] or ""
    if "active" in values:
        given["active"] = values["active"] is not False
    if "least_make" in values:
        given["least_make"] = _least(head)
    faults.raise_if_any(FormulaRefusal)
    values = {name: getattr(formula, name) for name in CHANGING}
    if values == {**values, **given}:
        return False
    change_formula(formula, by=taking.by, **{**values, **given})
    return True


def _add_version(
    formula: Formula,
    head: Row,
    rows: Sequence[Row],
    *,
    materials: Materials,
    kept: Sequence[VersionSpec],
    taking: Taking,
) -> bool:
    """Write the version that the rows say, unless the current or the newest one (`kept`, in this
    order) says the same. What the rows leave out is as in the current one."""
    was = kept[0] if kept else None
    if len(rows) == 1 and (was is None or not any_setting(head)):
        if any_setting(head):
            raise FormulaRefusal("A recipe needs at least one line row.", field="row")
        return False
    spec = spec_written(head, rows, materials=materials, kept=was)
    if spec in kept:
        return False
    add_version(formula, spec, by=taking.by)
    return True


def _least(head: Row) -> int | None:
    least = head.values.get("least_make")
    return None if least is None else mass_ng(least)


def place(rows: Sequence[Row], field: str) -> tuple[int, str]:
    """Row and column of a fault: "rows.2.amount" of these rows, "lines.0.amount" of a service."""
    first, *rest = field.split(".")
    if first == "rows":
        return rows[int(rest[0])].number, rest[1]
    parts = [row for row in rows if first in _PARTS and row.values.get("row") == _PARTS[first]]
    if parts and not rest:
        return parts[0].number, "share" if first == "portions" else ""
    if rest and rest[0].isdigit() and int(rest[0]) < len(parts):
        named = rest[1] if len(rest) > 1 else ""
        return parts[int(rest[0])].number, "portion" if named == "name" else named
    head = next((row for row in rows if row.values.get("row") == RECIPE), rows[0])
    return head.number, _COLUMN_OF.get(first, first)


def recipe_rows() -> Iterator[Mapping[str, Any]]:
    """All recipes with their current versions. Five queries, four without any version."""
    versions = {version.formula_id: version for version in _whole(current_only())}
    for formula in Formula.objects.select_related("product").order_by("code"):
        version = versions.get(formula.pk)
        spec = None if version is None else spec_of(version)
        least = formula.least_make
        yield {
            "code": formula.code,
            "row": RECIPE,
            "name": formula.name,
            "kind": formula.kind,
            "product": formula.product.code,
            "least_make": None if least is None else grams(least),
            "active": formula.active,
            "note": formula.note,
            **({} if spec is None else written_settings(spec)),
        }
        if spec is not None:
            yield from written_rows(formula.code, spec)


def _kept(formula: Formula) -> list[VersionSpec]:
    """What the current version of a recipe says, then what the newest one does."""
    current = current_only().filter(formula=formula)
    newest = formula.versions.order_by("-number")[:1]
    return [spec_of(version) for rows in (current, newest) for version in _whole(rows)]


def _whole(versions: "QuerySet[FormulaVersion]") -> "QuerySet[FormulaVersion]":
    """Versions with all that they say."""
    whole = versions.select_related(*ALKALIS)
    return whole.prefetch_related("lines__material", "portions", "layers")


RECIPES = ExchangeTable(
    name="recipes",
    title="Recipes",
    layout=LAYOUT,
    needed=Capability.PLAN,
    rows=recipe_rows,
    take=take_recipe,
    many_rows=True,
    example=EXAMPLE,
    place=place,
)
