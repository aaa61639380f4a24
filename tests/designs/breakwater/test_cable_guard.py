"""Cable guard against a code book made by Hamming's rule and searched for the nearest word, for all 256 inputs."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

# Hamming, Error Detecting and Error Correcting Codes, Bell System Technical Journal 29 (1950): of the places 1 to 7
# those that are powers of two make the ones even among all places with that bit in their number; an eighth bit makes
# the whole even (the rule from memory).
DATA_PLACES = (3, 5, 6, 7)
HOPELESS = 1 << 7


def code_word(word: int) -> int:
    """Place n is bit n - 1; the eighth bit is bit 7. The parities are tried out, not computed."""
    for parities in range(8):
        ones = {place for bit, place in enumerate(DATA_PLACES) if word >> bit & 1}
        ones |= {1 << bit for bit in range(3) if parities >> bit & 1}
        if all(sum(1 for place in ones if place & power) % 2 == 0 for power in (1, 2, 4)):
            return sum(1 << place - 1 for place in ones) | len(ones) % 2 << 7
    raise AssertionError("no parities fit")


BOOK = [code_word(word) for word in range(16)]


def test_the_book_itself() -> None:
    """Any two words differ in at least four bits, and the seven-bit code is perfect (Hamming 1950)."""
    assert min((one ^ other).bit_count() for one, other in combinations(BOOK, 2)) == 4
    near = {code & 0x7F ^ error for code in BOOK for error in (0, *(1 << bit for bit in range(7)))}
    assert len(near) == 128


@pytest.mark.parametrize("word", range(16))
@pytest.mark.parametrize("error", [0, *(1 << bit for bit in range(8))])
def test_every_single_error_is_mended(drive: Drive, word: int, error: int) -> None:
    """The place told is that of the wrong bit, from 1 to 7; none for the eighth bit, or if all is well."""
    design = drive("cable_guard")
    design.put(BOOK[word] ^ error)
    place = (error & 0x7F).bit_length()
    assert design.outputs == word | place << 4


@pytest.mark.parametrize("word", range(16))
def test_every_double_error_is_told(drive: Drive, word: int) -> None:
    design = drive("cable_guard")
    for one, other in combinations(range(8), 2):
        design.put(BOOK[word] ^ 1 << one ^ 1 << other)
        assert design.outputs & HOPELESS


def test_all_inputs(drive: Drive) -> None:
    """The nearest word of the book where there is one only, and the warning exactly where there is none."""
    design = drive("cable_guard")
    for levels in range(256):
        distances = [(code ^ levels).bit_count() for code in BOOK]
        design.put(levels)
        assert bool(design.outputs & HOPELESS) == (min(distances) == 2)
        if min(distances) < 2:
            assert design.outputs & 0xF == distances.index(min(distances))
