"""A kind of column that holds several pairs in one cell."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from studio.foundation.errors import InvalidInput
from studio.foundation.tables.cells import Cell, plain
from studio.foundation.tables.kinds import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Names or numbers of `first`, each with a value of `second`, parted by semicolons.

    "C12:0 0.48; C14:0 0.19". A name that holds a semicolon or a quote is written in quotes. With
    `none`, that word is the empty list, which an empty cell is not.
    """

    first: Kind
    second: Kind
    example: str
    none: str = ""

    @property
    def words(self) -> str:
        nothing = f'; "{self.none}" for none' if self.none else ""
        return f'pairs parted by semicolons, as in "{self.example}"{nothing}'

    def read(self, text: str) -> tuple[tuple[Any, Any], ...]:
        if self.none and text.strip().casefold() == self.none:
            return ()
        try:
            (entries,) = csv.reader([text], delimiter=";", skipinitialspace=True, strict=True)
        except (csv.Error, ValueError) as error:
            raise InvalidInput(f'Write pairs, as in "{self.example}", on one line.') from error
        return tuple(self._pair(entry) for entry in entries if entry.strip())

    def _pair(self, entry: str) -> tuple[Any, Any]:
        bare = entry.rstrip()
        if bare.endswith(" %"):
            bare = f"{bare[:-1].rstrip()}%"
        name, _, value = bare.rpartition(" ")
        if not name.strip():
            raise InvalidInput(f'"{entry.strip()[:40]}" is no pair: write as "{self.example}".')
        return self.first.read(name.rstrip()), self.second.read(value)

    def write(self, value: Sequence[tuple[Any, Any]]) -> Cell:
        if not value:
            return self.none or None
        out = io.StringIO()
        writer = csv.writer(out, delimiter=";", lineterminator="")
        writer.writerow(f"{self._part(self.first, one)} {self._part(self.second, two)}"
                        for one, two in value)  # fmt: skip
        return out.getvalue()

    @staticmethod
    def _part(kind: Kind, value: Any) -> str:
        cell = kind.write(value)
        return plain(cell) if isinstance(cell, Decimal) else str(cell)


def as_mapping(pairs: Sequence[tuple[str, Any]]) -> Mapping[str, Any]:
    """Pairs as a mapping. Raises InvalidInput when a name comes twice."""
    made = dict(pairs)
    if len(made) < len(pairs):
        raise InvalidInput("A name comes twice: write each once.")
    return made
