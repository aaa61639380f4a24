"""Makes goldens and noisy captures of them, without any of the code that judges captures.

A run is a matrix of states, a byte for each step. It is rendered to a golden (exact ticks) and, after a change that
stands for a fault, to what an instrument would record: at a clock that is off and drifts, with jitter, spikes, slow
samples, missing lines, from anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from forelight.harness.boards.profile import Board
from forelight.harness.golden.golden import Golden
from numpy.typing import NDArray

States = NDArray[np.uint8]
Wave = tuple[NDArray[np.float64], NDArray[np.uint8]]  # instants in steps, level from each on

BOARD = Board(
    name="quay",
    title="test board",
    oscillator_hz=18_432_000,
    link="chain",
    slots={},
    slot_count=192,
    positions=192,
    ticks_per_bit=4,
    law="two-stage",
)
FRAME = 6144  # ticks
KINDS = ("counter", "lfsr", "slow", "lone", "ring", "serial", "gated")
FAULTS = ("flip", "extra", "lost", "rate", "swap", "stuck")


def states(kind: str, steps: int, rng: np.random.Generator) -> States:  # noqa: PLR0911
    """What the eight outputs show after each step, step 0 first: shape (steps + 1,)."""
    n = np.arange(steps + 1)
    match kind:
        case "counter":
            return ((n + rng.integers(256)) & 255).astype(np.uint8)
        case "lfsr":  # x^16 + x^15 + x^13 + x^4 + 1, maximal (Xilinx XAPP 210)
            register = int(rng.integers(1, 1 << 16))
            out = np.zeros(steps + 1, np.uint8)
            for step in range(steps + 1):
                out[step] = register & 255
                bit = register >> 15 ^ register >> 14 ^ register >> 12 ^ register >> 3
                register = (register << 1 | bit & 1) & 0xFFFF
            return out
        case "slow":  # any line, now and then
            return np.bitwise_xor.accumulate(
                np.where(rng.random(steps + 1) < 0.15, 1 << rng.integers(0, 8, steps + 1), 0)
            ).astype(np.uint8)
        case "lone":  # one line only
            return np.bitwise_xor.accumulate((rng.random(steps + 1) < 0.16).astype(np.uint8))
        case "ring":
            return (1 << ((n // 3) % 8)).astype(np.uint8)
        case "serial":  # frames of ten bits with pauses
            line = np.ones(steps + 1, np.uint8)
            at = int(rng.integers(0, 12))
            while at + 10 < steps:
                line[at : at + 9] = np.r_[0, rng.integers(0, 2, 8)]
                at += 10 + int(rng.integers(0, 12))
            return line
        case _:  # "gated": half of the lines are slow, the others random
            low = np.bitwise_xor.accumulate(
                np.where(rng.random(steps + 1) < 0.1, 1 << rng.integers(0, 4, steps + 1), 0)
            )
            made: States = (low | rng.integers(0, 16, steps + 1) << 4).astype(np.uint8)
            return made


@dataclass(frozen=True)
class Setup:
    """A run: `half` frames for half a step, `lead` frames before the first rise; bits of `unsettled` are so until
    step `restart`."""

    states: States
    half: int
    lead: int
    restart: int
    unsettled: int

    @property
    def step_ticks(self) -> int:
        return 2 * self.half * FRAME

    @property
    def first_rise(self) -> int:
        return self.lead * FRAME


def golden_of(setup: Setup) -> Golden:
    """Rows at each half step for the step line (i7), and a frame later for the outputs; i6 is the restart."""
    count = len(setup.states) - 1
    rises = setup.first_rise + np.arange(count) * setup.step_ticks
    falls = rises + setup.step_ticks // 2
    ticks = np.unique(np.concatenate([[0], rises, falls, rises + FRAME]))
    seen = np.searchsorted(rises, ticks, side="right")
    shown = np.searchsorted(rises + FRAME, ticks, side="right")
    high = np.searchsorted(rises, ticks, side="right") > np.searchsorted(falls, ticks, side="right")
    settled: States = np.where(shown < setup.restart, 0xFF & ~setup.unsettled, 0xFF).astype(np.uint8)
    outputs = setup.states[shown] & settled
    inputs = (high * 0x80 | (seen < setup.restart) * 0x40).astype(np.uint8)
    rows = np.r_[True, (np.diff(outputs) != 0) | (np.diff(inputs) != 0) | (np.diff(settled) != 0)]
    end = int(setup.first_rise + count * setup.step_ticks)
    return Golden(
        "quay", BOARD.oscillator_hz, ticks[rows], seen[rows], inputs[rows], outputs[rows], settled[rows],
        np.zeros(int(rows.sum()), np.uint8), end,
    )  # fmt: skip


@dataclass(frozen=True)
class Noise:
    """What the instrument does: all in steps but `rate` (relative) and `drift` (relative, over the recording)."""

    rate: float = 0.0
    drift: float = 0.0
    jitter: float = 0.0
    samples: float = 0.0  # a step; 0 records the instants themselves
    spikes: float = 0.0  # a line and step
    spike: float = 0.05
    lines: tuple[str, ...] = ("o0", "o1", "o2", "o3", "o4", "o5", "o6", "o7", "i7")
    start: float = -3.0  # in steps from the first rise
    length: float = 400.0
    layout: str = "vcd"


@dataclass(frozen=True)
class Case:
    """One recording as text, and the truth about it: the first step that differs on a recorded line, None if none
    does."""

    setup: Setup
    noise: Noise
    fault: str
    text: str
    detail: dict[str, object]
    bench: States


def waves(setup: Setup, bench: States, noise: Noise, rng: np.random.Generator) -> dict[str, Wave]:
    """Each recorded line as an instrument with perfect eyes would see it, in steps from the first rise."""
    count = len(bench) - 1
    steps = np.arange(count, dtype=np.float64)
    answer = FRAME / setup.step_ticks  # a frame later
    out: dict[str, Wave] = {}
    for line in noise.lines:
        if line == "i7":
            instants = np.stack([steps, steps + 0.5], axis=1).ravel()
            levels = np.tile(np.array([1, 0], np.uint8), count)
            first = 0
        else:
            level = ((bench >> int(line[1])) & 1).astype(np.uint8)
            changed = np.flatnonzero(np.diff(level))
            instants, levels, first = steps[changed] + answer, level[changed + 1], int(level[0])
        instants = np.sort(instants + rng.uniform(-noise.jitter, noise.jitter, len(instants)))
        out[line] = np.r_[-1e9, instants], np.r_[np.uint8(first), levels]
    return out


def _spiked(wave: Wave, noise: Noise, rng: np.random.Generator, low: float, high: float) -> Wave:
    """Short pulses of the opposite level, as they fall, half a step apart at least."""
    count = rng.poisson(noise.spikes * (high - low))
    begin = np.sort(rng.uniform(low, high, count))
    begin = begin[np.r_[True, np.diff(begin) > 0.5]] if count else begin
    end = begin + rng.uniform(0.2, 1.0, len(begin)) * noise.spike
    instants, levels = wave
    # The line is the original, inverted within the spikes.
    marks = np.sort(np.concatenate([instants, begin, end]))
    level = levels[np.searchsorted(instants, marks, side="right") - 1]
    inside = (np.searchsorted(begin, marks, side="right") - np.searchsorted(end, marks, side="right")).astype(
        np.uint8
    )
    return marks, level ^ inside


def recorded(setup: Setup, bench: States, noise: Noise, rng: np.random.Generator) -> str:
    """The text of the recording."""
    return written(waves(setup, bench, noise, rng), setup.step_ticks / BOARD.oscillator_hz, noise, rng)


def written(made: dict[str, Wave], seconds: float, noise: Noise, rng: np.random.Generator) -> str:
    """The text of a recording of these waves, whose steps last so many seconds."""
    low, high = noise.start, noise.start + noise.length
    if noise.spikes:
        made = {line: _spiked(wave, noise, rng, low, high) for line, wave in made.items()}

    def clock(steps: NDArray[np.float64]) -> NDArray[np.float64]:
        """Instrument seconds, from the start of the recording: its clock is off, and drifts from one end to the
        other."""
        x = (steps - low) / noise.length
        return (steps - low + noise.drift * noise.length * (x * x - x) / 2) * seconds * (1 + noise.rate)

    offset = rng.uniform(-2, 2)  # where the instrument's clock starts
    columns: dict[str, Wave] = {}
    levels: States
    for line, (instants, levels) in made.items():
        kept = (instants > low) & (instants < high)
        begin = levels[np.searchsorted(instants, low, side="right") - 1]
        columns[line] = np.r_[0.0, clock(instants[kept])], np.r_[begin, levels[kept]]
    length = float(clock(np.array([high]))[0])
    if noise.samples:
        period = seconds / noise.samples
        grid = np.arange(rng.uniform(0, 1), length / period) * period
        sampled = {
            line: levels[np.searchsorted(instants, grid, side="right") - 1]
            for line, (instants, levels) in columns.items()
        }
        if noise.layout == "csv":
            return _sampled_csv(grid + offset, sampled)
        columns = {}
        for line, levels in sampled.items():
            rows = np.r_[0, np.flatnonzero(np.diff(levels)) + 1]
            columns[line] = grid[rows], levels[rows]
        length = float(grid[-1])
    return _changes(columns, length, offset, noise.layout)


def _sampled_csv(grid: NDArray[np.float64], columns: dict[str, NDArray[np.uint8]]) -> str:
    head = ",".join(["time_s", *columns])
    rows = zip(grid.tolist(), *(column.tolist() for column in columns.values()), strict=True)
    return "\n".join([head, *(",".join([f"{row[0]:.9f}", *map(str, row[1:])]) for row in rows)]) + "\n"


def _changes(columns: dict[str, Wave], length: float, offset: float, layout: str) -> str:
    """Time-stamped changes: VCD with nanoseconds, or CSV with a row for each instant."""
    events = sorted(
        (float(t), line, int(v))
        for line, (times, levels) in columns.items()
        for t, v in zip(times, levels, strict=True)
    )
    if layout == "vcd":
        names = {line: chr(33 + n) for n, line in enumerate(columns)}
        out = [
            "$timescale 1 ns $end",
            *(f"$var wire 1 {names[line]} {line} $end" for line in columns),
            "$enddefinitions $end",
        ]
        out += [f"#{round((t + 3) * 1e9)}\n{v}{names[line]}" for t, line, v in events]
        return "\n".join([*out, f"#{round((length + 3) * 1e9)}"]) + "\n"
    level = dict.fromkeys(columns, 0)
    rows = []
    for t, line, v in [*events, (length, "", 0)]:
        if line:
            level[line] = v
        rows.append(f"{t + offset:.9f};".replace(".", ",") + ";".join(str(v) for v in level.values()))
    return "\r\n".join([";".join(["Time [s]", *columns]), *rows]) + "\r\n"
