"""The dice against the published taps, a reference generator, and the fairness that follows."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import max_len_seq

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

TAPS = (15, 14)  # Xilinx XAPP 052 and XAPP 210, n = 15: maximal, with exclusive-nor and bits counted from 1
PERIOD = 2**15 - 1
LEANS = 0  # a dash: neither of the six faces
#: Segments a to g: TI SN74LS47 and CD4511 data sheets, 6 with its tail as in SN74247; the dash is g alone.
SHAPES = {
    "0110000": 1,
    "1101101": 2,
    "1111001": 3,
    "0110011": 4,
    "1011011": 5,
    "1011111": 6,
    "0000001": LEANS,
}


def faces(outputs: NDArray[np.uint8]) -> list[int]:
    """What a person reads; a shape that is neither face nor dash is a KeyError."""
    shapes = {value: "".join(str(value >> bit & 1) for bit in range(7)) for value in set(outputs.tolist())}
    return [SHAPES[shapes[value]] for value in outputs.tolist()]


def rolling(drive: Drive) -> Driven:
    design = drive("dice")
    design.restart()
    design.set(i0=1)
    return design


def test_it_follows_the_published_taps(drive: Drive) -> None:
    """The table's register in plain integers: bit 1 takes the exclusive-nor of the taps, the rest move up."""
    state, expected = 0, []
    for _ in range(PERIOD):
        feedback = 1 ^ (state >> TAPS[0] - 1 ^ state >> TAPS[1] - 1) & 1
        state = (state << 1 | feedback) & PERIOD
        expected.append(state & 7 if state & 7 < 7 else LEANS)
    assert state == 0  # the period is over
    assert faces(rolling(drive).steps(PERIOD)) == expected


def test_it_is_the_reference_sequence(drive: Drive) -> None:
    """scipy's maximal sequence of 15 bits has the reciprocal polynomial: reversed and inverted it is ours."""
    bits = 1 - max_len_seq(15)[0][::-1].astype(int)
    windows = np.roll(bits, 2) * 4 + np.roll(bits, 1) * 2 + bits
    reference = np.where(windows < 7, windows, LEANS).astype(np.uint8).tobytes()
    ours = np.array(faces(rolling(drive).steps(PERIOD)), np.uint8).tobytes()
    assert len(ours) == len(reference) == PERIOD
    assert ours in reference + reference  # the two may start at different places


def test_the_period_is_maximal(drive: Drive) -> None:
    """It comes round after 2^15 - 1 steps and after no part of that (7 * 31 * 151)."""
    outputs = rolling(drive).steps(2 * PERIOD)
    assert np.array_equal(outputs[:PERIOD], outputs[PERIOD:])
    for prime in (7, 31, 151):
        part = PERIOD // prime
        assert not np.array_equal(outputs[:-part], outputs[part:])


def test_the_faces_are_exactly_fair(drive: Drive) -> None:
    """Each state but all ones comes once a period, so each face has 2^12 of them and the dash the rest."""
    outputs = rolling(drive).steps(PERIOD)
    fair = dict.fromkeys(range(1, 7), 4096)
    assert Counter(faces(outputs)) == {**fair, LEANS: PERIOD - 6 * 4096}


@pytest.mark.parametrize("rolled", [1, 2, 13, 200, 4711])
def test_it_rests_when_let_go(drive: Drive, rolled: int) -> None:
    """The last face stays for as long as i0 is 0; the point is lit while it rolls."""
    design = rolling(drive)
    outputs = design.steps(rolled)
    assert (outputs >> 7 == 1).all()
    design.set(i0=0)
    assert set(design.steps(100)) == {outputs[-1] & 0x7F}


def test_all_ones_locks_until_the_restart(drive: Drive) -> None:
    """The one state that follows itself (XAPP 052); silicon may wake up in it, and the restart leads out."""
    design = drive("dice", power_up=1)
    design.set(i0=1)
    assert set(faces(design.steps(1000))) == {LEANS}
    design.restart()
    assert set(faces(design.steps(1000))) == set(range(7))
