"""What a reader could tell of a capture of the whole chip, with the truth in hand and without the code that judges.

A case is a stretch of a run, its error and its noise. Whether any reader could tell the error is decided by trying
every shift of the golden against what the pins did.

No reader can tell anything of what was before the last step under restart, which a hand holds for as long as it likes,
nor, in the step in which it lets go, of a line that moves for that: at the bench it may have moved sooner or later.
So where restart was not recorded, what the golden foretells may also come later than in the run itself: by as many
steps as restart could have been held longer, by the hand of `silicon`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from forelight.harness.golden.golden import Golden
from numpy.typing import NDArray

from tests.harness.verdict.noise import Noise, Wave, written
from tests.harness.verdict.silicon import HELD, Run

Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Case:
    """What the pins did in a run, and what the instrument added; `lines` are wrong throughout."""

    run: Run
    fault: str
    pins: Bytes
    noise: Noise
    lines: tuple[int, ...] = ()
    step: int = 0

    @property
    def mask(self) -> int:
        """The recorded outputs."""
        return sum(1 << int(name[1]) for name in self.noise.lines if name[0] == "o")

    def text(self, rng: np.random.Generator) -> str:
        return written(_waves(self, rng), self.run.step_ticks / self.run.board.oscillator_hz, self.noise, rng)


def _waves(case: Case, rng: np.random.Generator) -> dict[str, Wave]:
    """Each recorded line, in steps from the first rise."""
    out: dict[str, Wave] = {}
    for name in case.noise.lines:
        column = (case.pins if name[0] == "o" else case.run.lines) >> int(name[1]) & 1
        changed = np.flatnonzero(np.diff(column, prepend=0))
        instants = (changed - case.run.first) / (2 * case.run.half)
        instants = np.sort(instants + rng.uniform(-case.noise.jitter, case.noise.jitter, len(instants)))
        out[name] = np.r_[-1e9, instants], np.r_[np.uint8(0), column[changed]]
    return out


def blocks_of(run: Run, frames: Bytes) -> NDArray[np.uint16]:
    """What holds after n rises of the step clock, n from 0: after the rise and after the fall, a byte each."""
    starts = run.first + 2 * run.half * (np.arange(run.count) - 1) + 1
    starts = starts[starts + run.half < len(frames)]
    pairs = [frames[np.maximum(starts + late, 0)].astype(np.uint16) for late in (0, run.half)]
    return (pairs[0] << 8 | pairs[1]).astype(np.uint16)


def expected(run: Run) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """The golden's outputs, and which of them can be told, in the same form."""
    golden = run.golden
    ticks = (np.arange(len(run.pins)) - run.late + 1) * run.board.frame_ticks - 1
    row = np.searchsorted(golden.ticks, ticks, side="right") - 1
    known = np.where((row >= 0) & (ticks < golden.end), golden.settled[row], np.uint8(0))
    settled = blocks_of(run, known.astype(np.uint8))
    settled[: run.up] = 0
    settled[run.up] &= np.uint16((0xFF & ~_let_go(golden, run.start)) * 0x101)
    return blocks_of(run, golden.outputs[row]), settled


def _let_go(golden: Golden, start: int) -> int:
    """Which outputs move between the tick before `start`, at which restart is let go, and the next rise."""
    rows = np.flatnonzero(golden.ticks >= start - 1)
    rows = rows[: int(np.argmax((golden.inputs[rows[1:]] & ~golden.inputs[rows[:-1]]) >> 7)) + 1]
    moved = (golden.outputs[rows] ^ golden.outputs[rows - 1]) | (
        golden.settled[rows] ^ golden.settled[rows - 1]
    )
    return int(np.bitwise_or.reduce(moved))


def window(case: Case, earlier: int) -> tuple[int, int]:
    """The first and last block (exclusive) that are recorded well; a step's answer shows a frame after its rise."""
    late = 1 / (2 * case.run.half)
    first = max(int(np.ceil(case.noise.start - late + 1.1)) - earlier, 0)
    return first, min(int(case.noise.start + case.noise.length - late - 0.1), case.run.count - 1)


def wrong_bits(case: Case, earlier: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """For each shift of the golden the number of wrong bits in each block of the window."""
    first, last = window(case, earlier)
    bench = blocks_of(case.run, case.pins)[first:last]
    longer = 0 if "i6" in case.noise.lines else max(HELD - case.run.up, 0)
    golden, settled = (np.pad(blocks, (longer, 0)) for blocks in expected(case.run))
    settled = (settled & np.uint16(case.mask * 0x101)).astype(np.uint16)
    first += longer
    for shift in range(-first, len(golden) - first - len(bench) + 1):
        rows = slice(first + shift, first + shift + len(bench))
        yield shift, np.bitwise_count((golden[rows] ^ bench) & settled[rows]).astype(np.int64)


def hidden(case: Case) -> bool:
    """Whether the golden explains all, at some shift: then no reader could tell the fault."""
    return case.fault != "rate" and any(not wrong.any() for _, wrong in wrong_bits(case, 0))


def _beginnings(case: Case) -> Iterator[int]:
    """The blocks of the window from which on the golden explains all from its own beginning; none where the restart
    was recorded."""
    first, last = window(case, 0)
    bench, up = blocks_of(case.run, case.pins)[first:last], case.run.up
    golden, settled = expected(case.run)
    settled &= np.uint16(case.mask * 0x101)
    for begins in range(1, 0 if case.fault == "rate" or "i6" in case.noise.lines else len(bench)):
        rows = slice(up, up + len(bench) - begins)
        if not ((golden[rows] ^ bench[begins:]) & settled[rows]).any():
            yield begins


def as_restarted(case: Case) -> bool:
    """Whether a restart, which nobody recorded, explains all: up to it the golden does at some shift, while it is held
    the outputs are as in the golden's last step under restart, and then the golden does from there on."""
    first, last = window(case, 0)
    bench, up = blocks_of(case.run, case.pins)[first:last], case.run.up
    golden, settled = expected(case.run)
    until = max(int(np.argmax([*wrong, 1])) for _, wrong in wrong_bits(case, 0))
    held = ((golden[up] ^ bench) & settled[up] & np.uint16(case.mask * 0x101)) == 0
    return any(
        begins - int(np.argmin([*held[:begins][::-1], False])) <= until for begins in _beginnings(case)
    )


def as_begun_before(case: Case) -> bool:
    """Whether all is explained if less than half of it is from before the slot was up, when the outputs may show
    anything."""
    first, last = window(case, 0)
    return any(begins < (last - first) / 2 for begins in _beginnings(case))


def first_steps(case: Case) -> set[int]:
    """The first step that differs, by the true shift and by each other one that explains as many bits."""
    steps: set[int] = set()
    for earlier in (0, 1):
        found = dict(wrong_bits(case, earlier))
        least = int(found[0].sum())
        begin = window(case, earlier)[0]
        for shift, wrong in found.items():
            if wrong.any() and wrong.sum() <= least:
                steps.add(int(np.argmax(wrong > 0)) + begin + shift + case.run.before)
    return steps
