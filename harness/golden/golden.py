"""A golden: the predicted output sequence of one procedure, with unsettled bits marked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.loops import Oscillation
from numpy.typing import NDArray


@frozen
class Race:
    """Lines that moved in one update, whose order decided what some outputs showed from then on (Time 5).

    `tick` and `step` say when; `lines` and `outputs` are names such as i0 and o0, `registers` those of the source that
    came to hold one thing or another. A line that moved alone may have made a glitch.
    """

    tick: int
    step: int
    lines: tuple[str, ...]
    outputs: tuple[str, ...]
    registers: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """As plain values."""
        names = {"line_names": self.lines, "output_names": self.outputs, "registers": self.registers}
        return {"tick": self.tick, "step": self.step, **names}


@frozen
class Golden:
    """A row for each change at the board's pins.

    `ticks` are int64, oscillator ticks from the start of the procedure, rising; `steps` int64, the rises of the
    step line that the design has seen so far; `inputs` uint8, the levels of the design's eight inputs (bit 0 is
    line 0), as the link has brought them to it; `outputs` uint8, the board's output pins, 0 where unsettled;
    `proved` and `sampled` uint8 masks without a bit in common: a bit in neither is unsettled. The last row
    holds until tick `end`. `facts` go into the side file: hashes, seed, number of power-ups, start and latency
    (ticks from a change of the design's inputs to its answer at the pins), as strings and numbers. `races` are those
    that left an output unsettled; `suspects` those that took the proof from an output on which all power-ups agreed
    all the same; `loops` those that run free at some time, so that what they reach is unsettled.

    Where the fact `start` is `fixed`, the bench shows this from the start of the procedure. Where it is `anywhere`, the
    run repeats itself every `period_ticks` from `period_from_tick` on, and the bench is somewhere in that period.
    """

    board: str
    oscillator_hz: int
    ticks: NDArray[np.int64]
    steps: NDArray[np.int64]
    inputs: NDArray[np.uint8]
    outputs: NDArray[np.uint8]
    proved: NDArray[np.uint8]
    sampled: NDArray[np.uint8]
    end: int
    facts: Mapping[str, str | int] = field(default_factory=dict)
    races: tuple[Race, ...] = ()
    suspects: tuple[Race, ...] = ()
    loops: tuple[Oscillation, ...] = ()

    @property
    def settled(self) -> NDArray[np.uint8]:
        """Mask of the settled bits of each row."""
        return self.proved | self.sampled
