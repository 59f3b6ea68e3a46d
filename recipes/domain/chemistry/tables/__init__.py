"""Published tables, read once. Each CSV names its publication in the lines that begin with '#'."""

import csv
from functools import cache
from importlib.resources import files


@cache
def rows(name: str) -> tuple[tuple[str, ...], ...]:
    """The rows of a table without its comments, heading first; an empty cell is ''."""
    text = files(__name__).joinpath(name).read_text(encoding="utf-8")
    lines = (line for line in text.splitlines() if not line.startswith("#"))
    return tuple(tuple(row) for row in csv.reader(lines))
