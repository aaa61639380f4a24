"""Measures which stuck-at faults of a design a run would reveal, on the bits of its golden that are settled."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Collection, Sequence
from functools import cached_property

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, FaultLines, collapsed, describe
from forelight.sim.lanes.redundant import Redundant
from forelight.sim.lanes.revealed import NEVER, batches, first_revealed
from forelight.sim.netlist import Netlist
from forelight.sim.state import PowerUp
from numpy.typing import NDArray

from ..bench.course import Seat
from ..bench.inside import Inside
from ..chip.routing import input_names
from ..golden.golden import Golden
from .record import Coverage, Growth, StuckLine

#: So many faults are tried of a design that has more, drawn by chance (four times what runs side by side).
MOST_FAULTS = 2044
#: Where nobody asked for it, no more is tried: faults that run side by side, of a design of so many gates.
QUICK_FAULTS, QUICK_GATES = 511, 4000
Progress = Callable[[int, int], None]


class UntriedError(UsageError):
    """A run or a design of which it cannot be said how many faults are revealed."""


def power_ups(seed: int = 0) -> tuple[PowerUp, ...]:
    """What the flip-flops wake up with: a fault is revealed if it is from each of these."""
    return 0, 1, random.Random(seed)


@frozen
class Faults:
    """The stuck-at faults of a design on its seat: `count` in all, of which `chosen` are tried, one of each class."""

    sheet: Datasheet
    drawn: Netlist
    lines: FaultLines
    count: int
    chosen: tuple[Fault, ...]

    @staticmethod
    def of(seat: Seat, most: int = MOST_FAULTS, seed: int = 0) -> Faults:
        """Raises UntriedError for a design with a memory that cannot be turned into gates."""
        sheet, drawn = seat.datasheet, gates(seat.netlist, as_drawn=True)
        if drawn.memories:
            names = ", ".join(memory.name for memory in drawn.memories)
            raise UntriedError(
                f"memory {names} of {sheet.name} is too large to be turned into gates",
                remedy="only designs of gates and registers have stuck-at faults",
            )
        lines = FaultLines(drawn)
        classes = collapsed(drawn, clocks=False)
        if seat.memories:  # what is wired to the design is no part of it
            classes = [members for members in classes if _places(sheet, lines, members[0])]
        chosen = classes
        if len(classes) > most:
            chance = random.Random(seed)
            chosen = [classes[n] for n in sorted(chance.sample(range(len(classes)), most))]
        return Faults(sheet, drawn, lines, len(classes), tuple(_named(lines, members) for members in chosen))

    @staticmethod
    def few(seat: Seat, seed: int = 0) -> Faults:
        """Only so many that the answer comes soon. Raises UntriedError for a large design too."""
        found = Faults.of(seat, QUICK_FAULTS, seed)
        if len(found.drawn.cells) > QUICK_GATES:
            raise UntriedError(
                f"{found.sheet.name} comes to {len(found.drawn.cells)} gates",
                remedy="ask for one run of it with golden --coverage",
            )
        return found

    @cached_property
    def redundant(self) -> Redundant:
        return Redundant(self.drawn)

    def told(self, number: int) -> StuckLine:
        """A fault in words."""
        fault = self.chosen[number]
        words = describe(self.lines, fault).removesuffix(f" stuck at {fault.stuck}")
        names = input_names(self.sheet)
        words = words.replace("wrapper.design.", "").replace("wrapper.", "")
        words = re.sub(r"\binputs\[(\d+)\]", lambda found: names[int(found[1])], words)
        words = re.sub(r"\b(?:output )?outputs\[(\d+)\]", r"o\1", words)
        return StuckLine(number, words, fault.stuck, _places(self.sheet, self.lines, fault))


def _named(lines: FaultLines, members: Sequence[Fault]) -> Fault:
    """Of faults that nothing can tell apart, one with a name."""
    return min(members, key=lambda one: (lines.net(one.site) not in lines.names, one.site.place != "driver"))


def _places(sheet: Datasheet, lines: FaultLines, fault: Fault) -> tuple[str, ...]:
    """The lines of the design's own sources that a fault belongs to, as file:line."""
    found = []
    for place in lines.src(fault.site).split("|"):
        file, _, line = place.rpartition(":")
        if any(file == source or source.endswith(f"/{file}") for source in sheet.sources):
            found.append(f"{file}:{line.partition('.')[0]}")
    return tuple(dict.fromkeys(found))


def coverage(
    inside: Inside,
    golden: Golden,
    start: int,
    *,
    faults: Faults | None = None,
    end: int | None = None,
    outputs: Collection[str] = OUTPUT_LINES,
    progress: Progress = lambda done, total: None,
) -> Coverage:
    """What a run reveals from tick `start` on, to tick `end` and on these outputs.

    `golden` is what was foretold of the run that `inside` is of. Raises UntriedError where no bit tells anything by
    itself, and for a design with a memory that cannot be turned into gates.
    """
    refuse_what_tells_nothing(golden)
    faults = faults or Faults.of(inside.seat)
    looked_at = settled(inside, golden, start, end, outputs)
    seen = np.flatnonzero(looked_at)
    count = int(seen[-1]) + 1 if len(seen) else 1
    columns, looked_at = {"inputs": inside.rows[:count].astype(np.uint16)}, looked_at[:count]
    parts, found = list(batches(faults.chosen)), []
    for number, part in enumerate(parts):
        progress(number, len(parts))
        found.append(first_revealed(faults.drawn, part, columns, {"outputs": looked_at}, power_ups()))
    first = np.concatenate(found) if found else np.zeros(0, np.int64)
    lost, missed = list[StuckLine](), list[StuckLine]()
    for number in np.flatnonzero(first == NEVER).tolist():
        (lost if faults.chosen[number] in faults.redundant else missed).append(faults.told(number))
    return Coverage(
        faults.count,
        len(faults.chosen),
        int(np.count_nonzero(first != NEVER)),
        tuple(missed),
        tuple(lost),
        _growth(inside, golden, start, first[first != NEVER]),
    )


def refuse_what_tells_nothing(golden: Golden) -> None:
    """Raise UntriedError for a golden whose single bits tell nothing of a fault."""
    if golden.loops:
        raise UntriedError("a loop runs free, and no fault can be tried beside it", remedy="break the loop")
    if golden.facts.get("start") == "anywhere":
        raise UntriedError(
            "it may begin anywhere in its period, so that no bit by itself tells of a fault",
            remedy="take a run that begins with a restart, if the design has one",
        )


def settled(
    inside: Inside,
    golden: Golden,
    start: int,
    end: int | None = None,
    outputs: Collection[str] = OUTPUT_LINES,
) -> NDArray[np.uint64]:
    """For each update which output bits are settled and seen on the pins: from that which stands at tick `start`, to
    tick `end`."""
    plan = inside.plan
    frames = inside.frames + plan.latency
    ticks = plan.ticks(frames)
    over = np.append(inside.ticks[inside.each :], np.full(min(inside.each, len(ticks)), golden.end))
    turn = np.searchsorted(plan.turns, frames, side="right") - 1
    seen = (plan.slots[turn] == int(golden.facts["slot"])) & (frames < plan.end)
    seen &= (over > start) & (ticks <= (golden.end if end is None else end))
    if inside.each > 1:  # the pins take what the last phase of a frame left
        seen &= np.arange(len(ticks)) % inside.each == inside.each - 1
    rows = np.searchsorted(golden.ticks, np.maximum(ticks, start), side="right") - 1
    lines = sum(1 << OUTPUT_LINES.index(line) for line in outputs)
    return np.where(seen, golden.settled[np.maximum(rows, 0)] & np.uint8(lines), 0).astype(np.uint64)


def _growth(inside: Inside, golden: Golden, start: int, rows: NDArray[np.int64]) -> tuple[Growth, ...]:
    """How many had been revealed by the end of each step."""
    before = int(inside.steps[max(inside.row_at(start), 0)]) if len(inside.steps) else 0
    found: dict[int, Growth] = {}
    for count, row in enumerate(np.sort(rows).tolist(), 1):
        step = max(int(inside.steps[row]) - before, 0)
        passed = max(int(inside.ticks[row]) - start, 0) / golden.oscillator_hz
        found[step if inside.steps[-1] else row] = Growth(step, passed, count)
    return tuple(found.values())
