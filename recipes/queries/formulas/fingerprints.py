"""What a version holds as one short text, to tell whether it changed since somebody read it."""

import hashlib

from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.formulas.formulas import LoadedFormula, loaded_from, pour_of

#: What is no part of what was written.
_APART = frozenset({"id", "frozen_at", "created_at", "by_id"})


def marked(version: FormulaVersion) -> FormulaVersion:
    """The version with its fingerprint as `revision`. Five queries, none where it is prefetched."""
    loaded = loaded_from(version, version.lines.all(), pour=pour_of(version))
    version.revision = fingerprint_of(loaded)  # type: ignore[attr-defined]
    return version


def fingerprint_of(loaded: LoadedFormula) -> str:
    """The same text for the same content of a version, another one after any change. No query."""
    version = loaded.version
    columns = sorted(field.attname for field in FormulaVersion._meta.concrete_fields)
    parts = [f"{name}={getattr(version, name)}" for name in columns if name not in _APART]
    parts += [
        f"{row.position} {row.material_id} {row.basis} {row.stage} {row.amount} "
        f"{row.counts_as_water} {row.portion}"
        for row in loaded.rows
    ]
    if loaded.soap is not None:
        parts += [f"{part.name} {part.share}" for part in loaded.soap.portions]
    parts += [f"{one.portion} {one.share} {one.place} {one.note}" for one in loaded.layers]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32]
