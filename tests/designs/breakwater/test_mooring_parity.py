"""Mooring parity against counting the ones, for all 256 settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

#: Output -> the inputs whose ones it counts.
GROUPS = {0: 0x03, 1: 0x0C, 2: 0x30, 3: 0xC0, 4: 0x0F, 5: 0xF0, 7: 0xFF}


def test_all_settings(drive: Drive) -> None:
    """Odd or even is the lowest bit of their number (definition of parity)."""
    design = drive("mooring_parity")
    for levels in range(256):
        design.put(levels)
        expected = sum((levels & group).bit_count() % 2 << line for line, group in GROUPS.items())
        assert design.outputs == expected


def test_any_one_line_turns_the_whole(drive: Drive) -> None:
    """Why a parity finds every single error (Hamming 1950, from memory)."""
    design = drive("mooring_parity")
    for levels in range(256):
        design.put(levels)
        before = design.outputs >> 7
        for line in range(8):
            design.put(levels ^ 1 << line)
            assert design.outputs >> 7 == 1 - before
