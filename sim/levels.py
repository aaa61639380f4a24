"""Levels of a line as numbers, and the characters that stand for them in recordings and dumps."""

from __future__ import annotations

import numpy as np

#: The level beside 0 and 1: not recorded, not foretold, or not driven to either.
UNKNOWN = 2
#: What is no level at all, among the characters of `LEVEL`.
OTHER = 255

#: Character code -> level. Capital and small letters as IEEE 1364-2005, 18.2 and IEEE 1164 have them; `?` is for what
#: an eye missed.
LEVEL = np.full(256, OTHER, np.uint8)
for _characters, _level in (("0lL", 0), ("1hH", 1), ("xXzZuUwW?-", UNKNOWN)):
    for _character in _characters:
        LEVEL[ord(_character)] = _level
