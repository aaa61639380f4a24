"""The chip's divider against the laws, the rates of the demo's board and figures worked by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from amaranth.back import rtlil
from amaranth.hdl import ClockDomain, Module, Signal
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.divider import Divider
from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse
from numpy.typing import NDArray

#: 12 MHz, 125 positions, three ticks a bit: 12,000,000 / (3 * 8 * 125) = 4000 frames a second.
COUNTER = Board("counter", "", 12_000_000, "chain", {}, 125, positions=125, ticks_per_bit=3, law="counter")
QUAY = load_board("quay")


def simulation(law: str, codes: int = 256) -> Simulation:
    """A divider that advances in every cycle; `drive` holds clock, enable and code, lowest first."""
    divider = Divider(law, codes)
    m = Module()
    m.submodules.divider = divider
    drive = Signal(2 + len(divider.code))
    domain = ClockDomain("oscillator", reset_less=True)
    m.domains += domain
    m.d.comb += [
        domain.clk.eq(drive[0]),
        divider.enable.eq(drive[1]),
        divider.code.eq(drive[2:]),
        divider.advance.eq(1),
    ]
    level = Signal()
    m.d.comb += level.eq(divider.level)
    ports = {"drive": (drive, None), "level": (level, None)}
    return Simulation(parse(rtlil.convert(m, name="bench", ports=ports)))


def levels(bench: Simulation, code: int, frames: int) -> NDArray[np.uint8]:
    """The level of the step clock in the frame that first samples the enable, and in those that follow."""
    bench.power_cycle("init")
    bench.set("drive", 2 | code << 2)
    bench.settle()
    after = bench.run_clock("drive", bit=0, cycles=frames - 1, observe="level")
    return np.concatenate(([0], after)).astype(np.uint8)


def expected(half: int, frames: int) -> NDArray[np.uint8]:
    """Low for `half` frames, high for `half` frames, and so on."""
    return ((np.arange(frames) // half) & 1).astype(np.uint8)


def step_frames(bench: Simulation, code: int) -> int:
    """How many frames lie between two rises."""
    shown = levels(bench, code, 20_000)
    rises = np.flatnonzero(np.diff(shown.astype(np.int8)) == 1)
    assert len(set(np.diff(rises))) == 1
    return int(rises[1] - rises[0])


@pytest.mark.parametrize("law", ["counter", "two-stage"])
def test_every_code_toggles_as_its_law_says(law: str) -> None:
    bench = simulation(law)
    for code in range(256):
        half = (code & 31) + 1 << (code >> 5) if law == "two-stage" else code + 1
        np.testing.assert_array_equal(levels(bench, code, 5 * half + 2), expected(half, 5 * half + 2))
        assert half == replace(QUAY, law=law).half(code)


def test_a_step_source_with_many_settings() -> None:
    bench = simulation("counter", 1 << 20)
    for code in (0, 1, 12_499, 70_001):
        np.testing.assert_array_equal(levels(bench, code, 2 * code + 5), expected(code + 1, 2 * code + 5))


def test_the_code_is_kept_and_disabling_starts_anew() -> None:
    bench = simulation("counter")
    enable = np.array([0, 1, 1, 1, 1, 1, 1, 1, 0, 0, 1, 1, 1, 1], np.uint64)
    codes = np.array([9, 2, 0, 1, 0, 3, 0, 7, 0, 0, 0, 5, 5, 5], np.uint64)
    shown = np.array([0, 0, 0, 0, 1, 1, 1, 0, 0, 0, 0, 1, 0, 1])  # half 3 until disabled, then half 1
    values = enable << np.uint64(1) | codes << np.uint64(2)
    bench.power_cycle("init")
    bench.settle()
    clocked = np.stack((values, values | np.uint64(1)), axis=1).astype(np.uint16)
    seen = bench.run_samples("drive", clocked.ravel(), "level")[0::2]  # before the clock ends the frame
    np.testing.assert_array_equal(seen, shown)


@pytest.mark.parametrize(
    ("code", "hz"), [(0, 1500), (29, 50), (56, 30), (120, Fraction(15, 2)), (255, Fraction(3000, 8192))]
)
def test_rates_of_quay(code: int, hz: Fraction) -> None:
    """The board's own numbers: 18.432 MHz, 192 positions, 4 ticks a bit, so 3000 frames a second."""
    frame_hz = Fraction(18_432_000, 4 * 8 * 192)
    assert frame_hz == QUAY.frame_hz == 3000
    assert frame_hz / step_frames(simulation(QUAY.law), code) == hz
    assert QUAY.step_hz(code) == hz


def test_slowest_rate_of_quay_in_figures() -> None:
    assert round(float(QUAY.step_hz(255)), 3) == 0.366


@pytest.mark.parametrize(("code", "frames"), [(0, 2), (9, 20), (199, 400), (255, 512)])
def test_frames_of_a_step_of_the_counter_law(code: int, frames: int) -> None:
    """Two halves of `code + 1` frames each."""
    assert step_frames(simulation(COUNTER.law), code) == frames
    assert COUNTER.step_hz(code) == Fraction(4000, frames)
