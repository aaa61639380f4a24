"""Words as they are shown: several in a row, and those of strangers without what commands a terminal or hides."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

#: Stands for a character that is not shown.
INSTEAD = "\ufffd"
#: Kinds of character that command, hide or turn: controls, formats, halves, private ones, separators of lines (Unicode
#: Standard Annex 44, general category).
_KINDS = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
#: Letters and marks without a picture: fillers, joiners and selectors (Unicode's Default_Ignorable_Code_Point).
_EMPTY = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0") | frozenset(
    map(chr, (*range(0x180B, 0x1810), *range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
)


def listed(words: Sequence[str], last: str = "and") -> str:
    """At least one word in a row: `a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def clean(text: str) -> str:
    """The text as it may be shown to a person: with nothing but characters that have a picture, and ends of lines."""
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(
        char
        if char in "\n\t" or (unicodedata.category(char) not in _KINDS and char not in _EMPTY)
        else INSTEAD
        for char in text
    )
