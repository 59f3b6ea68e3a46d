"""The notation of fatty acids: carbons and double bonds, "C18:1"; "C18:1-OH" for ricinoleic.

The shorthand is that of the codes of edible oils (CXS 210, table 1), which count no positions of
double bonds. Trivial names are read too (IUPAC-IUB lipid nomenclature, appendix A; from memory).
"""

import re

from studio.foundation.errors import InvalidInput

TRIVIAL_NAMES = {
    "caproic": "C6:0",
    "caprylic": "C8:0",
    "capric": "C10:0",
    "lauric": "C12:0",
    "myristic": "C14:0",
    "palmitic": "C16:0",
    "palmitoleic": "C16:1",
    "stearic": "C18:0",
    "oleic": "C18:1",
    "ricinoleic": "C18:1-OH",
    "linoleic": "C18:2",
    "linolenic": "C18:3",
    "arachidic": "C20:0",
    "gondoic": "C20:1",
    "behenic": "C22:0",
    "erucic": "C22:1",
    "lignoceric": "C24:0",
}
_SHORTHAND = re.compile(r"c?([0-9]{1,2}):([0-9])(-oh)?", re.ASCII | re.IGNORECASE)


def read_fatty_acid(text: str) -> str:
    """The shorthand of an acid written as "C12:0", "12:0", "lauric" or "C12:0 lauric".

    Raises InvalidInput for what is neither, for a chain that is not 4 to 26 carbons long or holds
    more double bonds than a natural acid can, and for a shorthand that contradicts its name.
    """
    words = text.strip().lower().split()
    if words and words[-1] == "acid":
        words = words[:-1]
    read = {_read(word) for word in words}
    if len(words) not in (1, 2) or len(read) != 1 or None in read:
        raise InvalidInput(
            f'"{text[:40]}" is no fatty acid as written here: write carbons and double bonds, such '
            'as "C12:0" or "C18:1" ("C18:1-OH" for ricinoleic), or the trivial name.'
        )
    return str(read.pop())


def _read(word: str) -> str | None:
    if word in TRIVIAL_NAMES:
        return TRIVIAL_NAMES[word]
    match = _SHORTHAND.fullmatch(word)
    if match is None:
        return None
    carbons, bonds, hydroxy = int(match[1]), int(match[2]), bool(match[3])
    # Double bonds are interrupted by a methylene group: at most one in three carbons, and none at
    # the acid's end.
    if not 4 <= carbons <= 26 or 3 * bonds > carbons - 1:
        return None
    return f"C{carbons}:{bonds}{'-OH' if hydroxy else ''}"
