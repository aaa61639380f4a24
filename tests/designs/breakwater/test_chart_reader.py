"""Chart reader with a serial memory as its data sheets have it, behind the chain and on a direct link."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from .serial_memory import CLOCK, SELECT, SerialMemory, behind_chain, wired_through

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

READING = 2 * 4 * 43  # frames for one byte, at a step of two frames
ROUND = 2 * 4 * 512
UPPER, READ = 1 << 1, 1 << 7


def image() -> bytes:
    seed = 25
    print("seed", seed)
    return random.Random(seed).randbytes(256)


def restarted(drive: Drive) -> Driven:
    design = drive("chart_reader")
    design.restart()
    return design


def shown(design: Driven, levels: int) -> int:
    """Both halves of the byte, by the switch."""
    halves = []
    for upper in (0, UPPER):
        design.put(levels | upper)
        assert design.outputs & READ
        halves.append(design.outputs >> 3 & 0xF)
    return halves[0] | halves[1] << 4


@pytest.mark.parametrize("address", range(16))
@pytest.mark.parametrize("late", [0, 1])
def test_every_byte_behind_the_chain(drive: Drive, address: int, late: int) -> None:
    """At the fastest step clock of a chain, one frame high and one low."""
    chart, design = image(), restarted(drive)
    memory = SerialMemory(chart)
    for _ in behind_chain(design, memory, address << 2, READING, late):
        pass
    assert memory.reads == [address]
    assert shown(design, address << 2) == chart[address]


@pytest.mark.parametrize("address", range(16))
def test_every_byte_on_a_direct_link(drive: Drive, address: int) -> None:
    chart, design = image(), restarted(drive)
    memory = SerialMemory(chart)
    for _ in wired_through(design, memory, address << 2, READING):
        pass
    assert shown(design, address << 2) == chart[address]


def test_more_latency_than_allowed_is_seen(drive: Drive) -> None:
    """Two more frames, and the bits come too late: the checks above can fail."""
    chart, design = image(), restarted(drive)
    for _ in behind_chain(design, SerialMemory(chart), 0, READING, late=3):
        pass
    assert shown(design, 0) != chart[0]


def test_it_reads_again(drive: Drive) -> None:
    """Once in 512 bits of four steps, 1.4 s: less often than the three times a second that may flash (WCAG 2.3.1)."""
    design, memory = restarted(drive), SerialMemory(image())
    pins = list(behind_chain(design, memory, 0, 3 * ROUND, late=0))
    falls = [at for at in range(1, len(pins)) if pins[at - 1] & SELECT and not pins[at] & SELECT]
    assert [after - before for before, after in pairwise(falls)] == [ROUND, ROUND]
    assert memory.reads == [0, 0, 0]
    assert ROUND / 3000 > 1 / 3


def test_the_clock_is_a_quarter_of_the_step_clock(drive: Drive) -> None:
    design = restarted(drive)
    pins = list(behind_chain(design, SerialMemory(image()), 0, READING, late=0))
    rises = [at for at in range(1, len(pins)) if ~pins[at - 1] & pins[at] & CLOCK]
    assert len(rises) == 40
    assert {after - before for before, after in pairwise(rises)} == {2 * 4}
