"""Brings a capture and a golden to one kind of time axis: capture times count steps.

Where the step line was recorded and keeps to a clock, its rises are the axis, and drift and rate are gone. Otherwise
capture times are divided by the length that a step is predicted to have, and the rate is still to be found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..capture.record import Capture, Floats, RecordedLine
from .clean import shortest_run, without_frays, without_spikes
from .edges import Nearest, Stream
from .reference import Reference
from .step_line import StepClock, step_clock
from .timebase import TimeBase, through

AS_SHORT = 1.25  # lest what the capture's clean-up takes out just stays in the golden


@dataclass(frozen=True)
class View:
    """A capture on an axis of steps, from `start` to `end`.

    `edges` are those of the lines that tell where in the golden one is: not the step line, nor inputs that rest once
    the slot is up; `nearest` finds their golden partners. `clock` is the step clock that the axis was taken from (None:
    from the predicted rate, `step` units of the capture's time to a step). Edges number lines by their place in
    `telling`.
    """

    capture: Capture
    golden: Reference
    lines: Mapping[str, RecordedLine]
    telling: tuple[str, ...]
    edges: Stream
    nearest: Nearest
    start: float
    end: float
    step: float
    clock: StepClock | None

    @property
    def blur(self) -> float:
        """How far a spike beside an edge can shift it, in steps: by a sample, where spikes are looked for at all."""
        return self.capture.period / self.step if shortest_run(self.step, self.capture.period) > 0 else 0.0

    @property
    def inputs(self) -> set[int]:
        """Which of the lines that the edges are numbered by are the design's inputs."""
        return {number for number, name in enumerate(self.telling) if not name.startswith("o")}

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.lines)

    def recorded(self, times: Floats) -> Floats:
        """Times of this axis as the capture counts them."""
        if self.clock is None:
            return times * self.step + self.capture.start
        return through(times, self.clock.steps, self.clock.capture)

    def rate(self, base: TimeBase) -> tuple[float, float]:
        """Steps per second by the capture's clock, and the standard deviation of that."""
        if self.clock is not None:
            return self.clock.rate, self.clock.sigma
        hz = self.golden.hz or 0.0
        return hz * base.rate, hz * base.rate_sigma


def views(capture: Capture, golden: Reference, step_line: str) -> Iterator[View]:
    """The view by the recorded step line, if there is one, and the one by the predicted rate, if there is one."""
    line = capture.lines.get(step_line) if capture.timed else None
    clock = step_clock(line) if line else None
    if clock:
        yield _view(capture, golden, step_line, 1 / clock.rate, clock)
    step = _nominal(capture, golden) or (1 / clock.rate if clock else _shortest(capture))
    yield _view(capture, golden, step_line, step, None)


def _nominal(capture: Capture, golden: Reference) -> float | None:
    """The predicted length of a step as the capture counts time."""
    if capture.unit == "steps":
        return 1.0
    return golden.unit / golden.oscillator_hz if capture.unit == "seconds" else None


def _shortest(capture: Capture) -> float:
    """A guess at the length of a step where nothing says it: the shortest run of any line."""
    runs = [np.diff(line.times) for line in capture.lines.values() if len(line.times) > 2]
    return float(min((run.min() for run in runs), default=1.0))


def _view(capture: Capture, golden: Reference, step_line: str, step: float, clock: StepClock | None) -> View:
    shortest = shortest_run(step, capture.period) if capture.timed else 0.0

    def moved(times: Floats) -> Floats:
        return through(times, clock.capture, clock.steps) if clock else (times - capture.start) / step

    lines = {}
    for name, line in capture.lines.items():
        if name in golden.lines:
            kept = without_frays(without_spikes(line, shortest), shortest, capture.end)
            lines[name] = RecordedLine(moved(kept.times), kept.levels)
    telling = tuple(name for name in lines if name != step_line and _tells(name, golden))
    start, end = moved(np.array([capture.start, capture.end]))
    # What is as short as a spike is taken out of the golden too: a switch that stood otherwise for a moment, say.
    limit = shortest * AS_SHORT / step
    kept_lines = {
        name: without_spikes(line, limit) if name != step_line else line
        for name, line in golden.lines.items()
    }
    golden = replace(golden, lines=kept_lines)
    nearest = Nearest.of(golden.lines, telling, golden.end, golden.since)
    return View(
        capture,
        golden,
        lines,
        telling,
        Stream(lines, telling),
        nearest,
        float(start),
        float(end),
        step,
        clock,
    )


def _tells(name: str, golden: Reference) -> bool:
    """Whether this is an output, or an input that moves from the golden's start on."""
    return name.startswith("o") or bool((golden.lines[name].times[1:] >= golden.since).any())
