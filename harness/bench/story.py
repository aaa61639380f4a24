"""What one design answers over the frames in which it is selected."""

from __future__ import annotations

from dataclasses import field

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.loops import Oscillation
from forelight.sim.proof.ternary import OpenUpdate
from numpy.typing import NDArray

from ..hand.timeline import Frames, Lines
from .openings import Opening
from .period import Period
from .powerups import Answer


@frozen
class Outcome:
    """What one design puts out: element k + 1 of each column is from frame `frames[k]` on.

    Bits of `outputs` in `proved` cannot depend on power-up or race, those in `agreed` did not. Where something answers,
    `inputs[k]` is what the first power-up is given in frame `frames[k]`.
    """

    frames: Frames
    outputs: NDArray[np.uint8]
    proved: NDArray[np.uint8]
    agreed: NDArray[np.uint8]
    inputs: NDArray[np.uint8] | None = None

    def within(self, first: int, end: int, latency: int) -> tuple[Frames, tuple[NDArray[np.uint8], ...]]:
        """From frame `first` to before `end`, when the pins change, and to what: outputs, proved, agreed."""
        low = int(np.searchsorted(self.frames, first - latency, side="right"))
        high = int(np.searchsorted(self.frames, end - latency, side="left"))
        frames = np.concatenate(([first], self.frames[low:high] + latency))
        columns = self.outputs, self.proved, self.agreed
        return frames, tuple(column[low : high + 1] for column in columns)

    def given(self, first: int, end: int) -> tuple[Frames, Lines] | None:
        """The inputs in frame `first`, and when they change before `end`; None where nothing answers."""
        if self.inputs is None:
            return None
        low = int(np.searchsorted(self.frames, first, side="right"))
        high = int(np.searchsorted(self.frames, end, side="left"))
        return np.concatenate(([first], self.frames[low:high])), self.inputs[low - 1 : high].astype(np.uint16)


@frozen
class Story(Outcome):
    """The same of a whole run, and on what it rests.

    `answer` is what was sampled. From update `period.start` on a run that has one is the same for all power-ups, but
    for a shift. `loops` run free at some time: nothing that they reach is proved or agreed. In the updates of `doubts`
    something is no longer proved; what a glitch may decide there is not agreed either. `left_open` says in words what
    no proof was tried of, `openings` what the source leaves open and unsettles outputs.
    """

    answer: Answer = field(kw_only=True)
    period: Period | None = None
    loops: tuple[Oscillation, ...] = ()
    doubts: tuple[OpenUpdate, ...] = ()
    left_open: tuple[str, ...] = ()
    openings: tuple[Opening, ...] = ()
