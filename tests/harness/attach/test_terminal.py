"""The serial terminal against an encoder of its own, bit by bit, at rates given and found."""

from __future__ import annotations

import random

import pytest
from forelight.harness.attach.terminal import Character, receive

from .lines import serial, trace

HZ = 18_432_000.0
ALL = bytes(range(256))


@pytest.mark.parametrize("bit", [1.0, 2.0, 3.0, 160.0, 61440.0, 1920.7])
def test_every_byte_is_read_at_a_given_rate(bit: float) -> None:
    # An asynchronous frame as NXP AN10386 draws it; the encoder in lines.py shares nothing with the decoder.
    rows = serial(ALL, bit, start=5 * bit)
    found = receive(trace({"receive": rows}, int(3000 * bit)), HZ, HZ / bit)
    assert bytes(one.byte for one in found.characters) == ALL
    assert not found.faults and not found.found


@pytest.mark.parametrize("bit", [3.0, 160.0, 61440.0, 1920.7])
def test_the_rate_is_found(bit: float) -> None:
    rows = serial(ALL, bit, start=5 * bit)
    found = receive(trace({"receive": rows}, int(3000 * bit)), HZ)
    assert found.found and found.baud == pytest.approx(HZ / bit, rel=1e-3)
    assert bytes(one.byte for one in found.characters) == ALL


@pytest.mark.parametrize("seed", range(20))
def test_rests_of_any_length_between_frames(seed: int) -> None:
    chance = random.Random(seed)
    print(f"seed {seed}")
    data = chance.randbytes(60)
    gaps = [chance.choice([0, 0.3, 1, 7.7, 40.1]) for _ in data]
    rows = serial(data, 320.0, start=1000, gaps=gaps)
    for baud in (HZ / 320, None):
        found = receive(trace({"receive": rows}, rows[-1][0] + 20_000), HZ, baud)
        assert bytes(one.byte for one in found.characters) == data, baud


@pytest.mark.parametrize(("off", "good"), [(0.04, True), (-0.04, True), (0.07, False), (-0.07, False)])
def test_the_rate_may_be_off_by_some_four_percent(off: float, good: bool) -> None:
    # Half a bit in nine and a half: 5.3 % is the most that a receiver can bear (NXP AN10386 reckons the same way).
    rows = serial(ALL, 1000.0, start=5000)
    found = receive(trace({"receive": rows}, 3_000_000), HZ, HZ / 1000 * (1 + off))
    assert (bytes(one.byte for one in found.characters) == ALL) is good


def test_a_missing_stop_bit_is_a_framing_error_and_a_long_low_a_break() -> None:
    rows = [*serial(b"A", 100.0, start=500)[:-1], (1600, 1), *serial(b"B", 100.0, start=3000)[1:]]
    rows += [(5000, 0), (9000, 1), *serial(b"C", 100.0, start=10_000)[1:]]
    found = receive(trace({"receive": rows}, 20_000), HZ, HZ / 100)
    assert found.characters == (
        Character(500, 0x41, "framing error"),
        Character(3000, 0x42),
        Character(5000, 0, "break"),
        Character(10_000, 0x43),
    )
    assert found.text == "?B?C"
    assert len(found.faults) == 2


def test_a_spike_is_no_start_bit() -> None:
    rows = [(0, 1), (200, 0), (240, 1), *serial(b"x", 100.0, start=1000)[1:]]
    assert receive(trace({"receive": rows}, 5000), HZ, HZ / 100).text == "x"


def test_what_cannot_be_foretold_is_no_character() -> None:
    rows = serial(b"xy", 100.0, start=1000)
    rows = [*rows[:4], (rows[4][0], 2), *rows[5:]]
    found = receive(trace({"receive": rows}, 5000), HZ, HZ / 100)
    assert found.text == "?y"
    assert found.characters[0].fault == "unsettled"


def test_a_frame_that_the_end_cuts_off_is_left_out() -> None:
    rows = serial(b"ab", 100.0, start=1000)
    assert receive(trace({"receive": rows}, 2900), HZ, HZ / 100).text == "a"
    assert receive(trace({"receive": rows}, 2951), HZ, HZ / 100).text == "ab"


def test_a_silent_line_has_no_rate() -> None:
    for rows in ([(0, 1)], [(0, 0)], [(0, 2)], [(0, 0), (100, 1)]):
        found = receive(trace({"receive": rows}, 5000), HZ)
        assert (found.baud, found.characters) == (None, ())


def test_control_characters_do_not_reach_the_terminal() -> None:
    rows = serial(b"a\r\nb\x1b[2J\xe9\tc\rd", 100.0, start=1000)
    found = receive(trace({"receive": rows}, 50_000), HZ, HZ / 100)
    assert found.text == "a\nb\\x1b[2J\\xe9\tc\nd"
