"""The position report through a receiver of 8N1 and the rules of NMEA 0183."""

from __future__ import annotations

import re
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

BAUD = 4800  # with 8 data bits, no parity and one stop bit: NMEA 0183's own rate (from memory)
LONGEST = 82  # characters of a sentence, $ and the line's end included (NMEA 0183; from memory)
SENTENCE = re.compile(r"\$([^$*]*)\*([0-9A-F]{2})\r\n")
#: Latitude in degrees and minutes, hemisphere, longitude likewise; from version 2.0 on also UTC, which may be empty,
#: and the status A or V; from version 2.3 on a mode, and with any but A and D the status is V (NMEA 0183, GLL; the
#: modes from memory).
GLL = re.compile(
    r"[A-Z]{2}GLL,([0-8]\d[0-5]\d\.\d\d),([NS]),((?:0\d\d|1[0-7]\d)[0-5]\d\.\d\d),([EW]),"
    r"((?:[01]\d|2[0-3])[0-5]\d[0-5]\d(?:\.\d+)?)?,(?:(A),([AD])|(V),([ADEMSN]))"
)
CYCLE = 10 * (len("$IIGLL,4530.00,N,02345.68,W,,V,S*hh\r\n") + 3)  # steps from sentence to sentence


def checksum(body: str) -> str:
    """The exclusive or of all characters between $ and *, as two figures (NMEA 0183; Vaisala WXT530 manual)."""
    return f"{reduce(xor, body.encode('ascii')):02X}"


def receive(design: Driven, steps: int) -> str:
    """What a receiver reads, a level a step: 1 at rest, else 0, eight bits lowest first, 1 (NXP AN10386)."""
    line = "".join(str(output & 1) for output in design.steps(steps).tolist())
    assert re.fullmatch(r"(1|0[01]{8}1)*(0[01]{,8})?", line)
    return "".join(chr(int(data[::-1], 2)) for data in re.findall(r"0([01]{8})1", line))


def restarted(drive: Drive, figure: int) -> Driven:
    design = drive("position_report")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == BAUD
    design.switch(figure)
    design.restart()
    return design


@pytest.mark.parametrize("figure", range(8))
def test_sentences(drive: Drive, figure: int) -> None:
    """Three of them, each with the set figure and the checksum of its own body."""
    sentences = SENTENCE.findall(receive(restarted(drive, figure), 3 * CYCLE + 10))
    assert len(sentences) == 3
    for body, check in sentences:
        assert check == checksum(body)
        found = GLL.fullmatch(body)
        assert found
        assert found.groups()[:4] == (f"4530.0{figure}", "N", "02345.68", "W")
        assert found.groups()[-2:] == ("V", "S")  # no receiver is to take it for a position
        assert len(f"${body}*{check}\r\n") <= LONGEST


def test_both_figures_of_the_checksum_are_tried(drive: Drive) -> None:
    """Among the eight are letters and digits, so that both halves of the conversion have been seen."""
    checks = {SENTENCE.findall(receive(restarted(drive, figure), CYCLE + 10))[0][1] for figure in range(8)}
    assert len(checks) == 8
    assert re.search("[A-F]", "".join(checks))
    assert re.search("[0-9]", "".join(checks))


@pytest.mark.parametrize("change", range(0, CYCLE, 7))
def test_a_change_of_the_figure_never_breaks_a_sentence(drive: Drive, change: int) -> None:
    """The checksum is that of what was sent, whenever the switches move."""
    design = restarted(drive, 3)
    line = list(design.follow([3] * change + [4] * (2 * CYCLE + 10 - change)) & 1)
    text = "".join(chr(int(data[::-1], 2)) for data in re.findall(r"0([01]{8})1", "".join(map(str, line))))
    sentences = SENTENCE.findall(text)
    assert len(sentences) == 2
    assert all(check == checksum(body) for body, check in sentences)
    assert "".join(body[len("IIGLL,4530.0")] for body, _ in sentences) in {"34", "44"}
