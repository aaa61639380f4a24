"""What takes LLVM long in a text: its longest block, and loops of sweeps."""

from __future__ import annotations

import re
from functools import lru_cache

#: What stands before each loop of sweeps in a text.
SWEEP = "; a loop of sweeps"
#: The first integer type of a line.
_WIDTH = re.compile(r"\bi(\d+)\b")


@lru_cache(maxsize=1)  # one text is asked about several times on its way
def longest_block(text: str) -> int:
    """The machine words that the longest block of a text handles."""
    longest = here = 0
    for line in text.splitlines():
        if line.endswith(":"):
            here = 0
            continue
        width = _WIDTH.search(line)
        here += -(-int(width[1]) // 64) if width else 1
        longest = max(longest, here)
    return longest
