"""What every drawing needs of its text: that SVG can hold it, and about how wide it will be."""

import re
import unicodedata
from html import escape

#: Letters that XML 1.0 cannot hold.
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"


def shown(text: str) -> str:
    """Text as SVG can hold it."""
    return escape(_NO_XML.sub("\N{WHITE SQUARE}", text))


def estimated_width(words: str, size: float) -> float:
    """About how wide a line is in a sans-serif type, never much too little."""
    return size * sum(_em(letter) for letter in words)


def cut(words: str, *, width: float, size: float) -> str:
    """Words as far as they fit in a width, then an ellipsis; empty where not even that fits."""
    if estimated_width(words, size) <= width:
        return words
    room, kept = width - size * _em(ELLIPSIS), 0
    for letter in words:
        room -= size * _em(letter)
        if room < 0:
            break
        kept += 1
    return words[:kept].rstrip() + ELLIPSIS if kept else ""


def wrapped(words: str, *, width: float, size: float, most: int) -> list[str]:
    """Words on lines that fit in a width; what does not fit on `most` lines is cut."""
    lines: list[str] = []
    rest = words.split()
    while rest and len(lines) < most - 1:
        count = 1
        while count < len(rest) and _fits(rest[: count + 1], width, size):
            count += 1
        lines.append(cut(" ".join(rest[:count]), width=width, size=size))
        rest = rest[count:]
    if rest:
        lines.append(cut(" ".join(rest), width=width, size=size))
    return lines


def _fits(words: list[str], width: float, size: float) -> bool:
    return estimated_width(" ".join(words), size) <= width


def _em(letter: str) -> float:
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    if letter in "MWmw@%":
        return 0.95
    return 0.74 if letter.isupper() else 0.58
