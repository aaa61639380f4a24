"""How much a test does: a part under the README's command, all of it where the slow tests run too."""

from __future__ import annotations

from typing import TypeVar

Size = TypeVar("Size")

#: Set by `conftest.py` before any test is collected.
WHOLE = False
#: The quick run of all tests takes so many cases of a test, or of a test with very many this share: one in ...
FEW, SHARE = 2, 8


def sized(part: Size, whole: Size) -> Size:
    """`whole` where slow tests were asked for, else `part`."""
    return whole if WHOLE else part
