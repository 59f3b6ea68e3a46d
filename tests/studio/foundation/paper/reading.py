"""A PDF as a reader sees it, by poppler's tools."""

import re
import shutil
import subprocess
from dataclasses import dataclass
from html import unescape

from tests.studio.not_installed import not_installed

WANTED = "poppler's tools are not installed (apt-get install poppler-utils)"


def _read(pdf: bytes, *command: str) -> str:
    """What one of the tools says of a PDF. Needs poppler (`not_installed`)."""
    if shutil.which(command[0]) is None:
        not_installed(WANTED)
    done = subprocess.run(command, input=pdf, capture_output=True, check=True)
    return done.stdout.decode()


def text_of(pdf: bytes) -> str:
    """The text as laid out on the pages, spaces collapsed within lines."""
    return re.sub(r"[ \t]+", " ", _read(pdf, "pdftotext", "-layout", "-enc", "UTF-8", "-", "-"))


def sizes_of(pdf: bytes) -> set[tuple[int, int]]:
    """Width and height of the pages in points, rounded."""
    told = _read(pdf, "pdfinfo", "-l", "-1", "-")
    found = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+)", told)
    return {(round(float(width)), round(float(height))) for width, height in found}


def pages_of(pdf: bytes) -> int:
    """How many pages it has."""
    return int(re.search(r"Pages: +(\d+)", _read(pdf, "pdfinfo", "-"))[1])


@dataclass(frozen=True)
class Word:
    """A word where it stands on its page, in points from the upper left corner."""

    page: int
    text: str
    left: float
    top: float
    right: float
    bottom: float


def words_of(pdf: bytes) -> tuple[list[Word], float, float]:
    """All words in the order of reading, and the width and height of a page."""
    words, page, width, height = [], 0, 0.0, 0.0
    for line in _read(pdf, "pdftotext", "-bbox", "-", "-").splitlines():
        numbers = [
            float(n) for n in re.findall(r'(?:width|height|xMin|yMin|xMax|yMax)="([\d.-]+)"', line)
        ]
        if "<page" in line:
            page, (width, height) = page + 1, numbers
        elif "<word" in line:
            words.append(Word(page, unescape(re.sub("<[^>]*>", "", line).strip()), *numbers))
    return words, width, height


def words_outside(pdf: bytes, *, margin: float = 20) -> list[Word]:
    """Words that reach nearer than `margin` points to the edge of their page, or beyond it."""
    words, width, height = words_of(pdf)
    return [
        word
        for word in words
        if min(word.left, word.top, width - word.right, height - word.bottom) < margin
    ]


def words_overlapping(pdf: bytes) -> list[tuple[Word, Word]]:
    """Pairs of words of which one is printed over the other."""
    words, _, _ = words_of(pdf)
    words.sort(key=lambda word: (word.page, word.top))
    pairs = []
    for index, one in enumerate(words):
        for other in words[index + 1 :]:
            if other.page != one.page or other.top >= one.bottom:
                break
            across = min(one.right, other.right) - max(one.left, other.left)
            down = min(one.bottom, other.bottom) - other.top
            if across > 1 and down > (one.bottom - one.top) / 2:
                pairs.append((one, other))
    return pairs
