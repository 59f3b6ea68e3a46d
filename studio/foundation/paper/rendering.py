"""A typst template and values become a PDF, without network, system fonts or pasted text."""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst
from django.conf import settings

from studio.foundation.errors import InvalidInput, Refusal

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


Paper = Literal["a4", "us-letter"]
#: What people call the papers, by what typst calls them.
_NAMES: Mapping[str, Paper] = {"a4": "a4", "letter": "us-letter", "us-letter": "us-letter"}
#: Where letter is the usual paper (common knowledge, no source).
_LETTER_PLACES = frozenset({"US", "CA", "MX", "PR", "PH"})
#: Templates name each other by paths below the folder that holds the packages.
_ROOT = Path(__file__).resolve().parents[3]
#: An archive's standard: a letter that no font can draw stops the page instead of vanishing.
_STANDARD: Literal["a-2u"] = "a-2u"


class PaperRefusal(Refusal):
    """A page could not be set, for example because of letters that combine in no known way."""

    code = "page-not-set"
    title = "This cannot be set on paper"


def paper_named(name: str) -> Paper:
    """The paper that a person named: "a4" or "letter". Raises InvalidInput."""
    try:
        return _NAMES[name.strip().lower()]
    except KeyError:
        raise InvalidInput("The paper is a4 or letter.", field="paper") from None


def usual_paper() -> Paper:
    """The paper in the studio's printer, by its locale: letter in North America, else A4."""
    territory = settings.STUDIO_LOCALE.replace("-", "_").rpartition("_")[2].upper()
    return "us-letter" if territory in _LETTER_PLACES else "a4"


def render_pdf(template: Path, values: Mapping[str, Any], *, paper: Paper = "a4") -> bytes:
    """The PDF of a template with `values`, which hold what JSON holds.

    Letters that the fonts lack are drawn as `UNPRINTABLE`. Raises PaperRefusal when the page
    cannot be set all the same.
    """
    shown = _cleaned({"studio": settings.STUDIO_NAME, **values})
    try:
        return typst.compile(
            template.resolve(),
            root=_ROOT,
            font_paths=_fonts(),
            ignore_system_fonts=True,
            format="pdf",
            pdf_standards=_STANDARD,
            sys_inputs={"values": json.dumps(shown, ensure_ascii=False), "paper": paper},
        )
    except typst.TypstError as error:
        raise PaperRefusal(f"This page cannot be set: {error.message}") from error


@cache
def _fonts() -> typst.Fonts:
    """The fonts in the wheel alone, so that a page looks the same on every machine."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)


def _cleaned(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, Mapping):
        return {str(key): _cleaned(inner) for key, inner in value.items()}
    if isinstance(value, Sequence):
        return [_cleaned(inner) for inner in value]
    return value
