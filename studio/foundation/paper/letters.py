"""Which letters the fonts on board can draw; others are shown by a sign, never left out."""

from functools import cache
from pathlib import Path

#: Drawn for a letter that no font on board has: whoever reads sees that something stood there.
UNPRINTABLE = "\N{WHITE SQUARE}"
#: Line ends are the template's; a tab would be a gap of unknown width.
_SPACED = str.maketrans({"\t": " ", "\r": " ", "\N{SOFT HYPHEN}": ""})


def printable(text: str) -> str:
    """The text with each letter that the fonts lack replaced by `UNPRINTABLE`."""
    spaced = text.translate(_SPACED)
    known = covered()
    return "".join(c if c == "\n" or ord(c) in known else UNPRINTABLE for c in spaced)


@cache
def covered() -> frozenset[int]:
    """The code points that the fonts draw, upright and bold."""
    text = Path(__file__).with_name("covered.txt").read_text(encoding="ascii")
    ranges = " ".join(line for line in text.splitlines() if not line.startswith("#")).split()
    found: set[int] = set()
    for written in ranges:
        first, _, last = written.partition("-")
        found.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(found)
