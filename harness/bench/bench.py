"""The frame-level bench: runs only the selected design through a timeline and says what the board's pins show."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import islice
from typing import Any

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.sim.loops import LoopError, Oscillation
from forelight.sim.netlist import Netlist
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from forelight.sim.undefined.opened import Opened, opened
from numpy.typing import NDArray

from ..attach.answering import PHASES, WiredMemory, answering, memories
from ..boards.profile import Board
from ..chip.netlist import wrapper_netlist
from ..chip.routing import routing, step_input
from ..hand.timeline import Frames, Lines, Timeline
from .answers import check_contention, every_frame, in_phases
from .freerun import MOST_LOOPS, stilled, touched
from .glitches import without_glitches
from .openings import Opening, openings
from .period import period
from .powerups import run_power_ups
from .proof import prove
from .story import Story

ALL = 0xFF
#: Power-ups that are asked when it is open what the source leaves open.
_ASKED = 16


@dataclass(frozen=True)
class Seat:
    """A design in its slot: its datasheet, the netlist of its wrapper, and the memories that are part of it.

    The netlist has the ports `inputs` and `outputs`, and with memories what `answering.py` adds to them.
    """

    datasheet: Datasheet
    netlist: Netlist
    memories: tuple[WiredMemory, ...] = ()

    @cached_property
    def simulation(self) -> Simulation:
        """Machine code of the design, made once."""
        return Simulation(self.netlist)

    @cached_property
    def opened(self) -> Opened:
        """The design in which what its source leaves open is undefined."""
        return opened(self.netlist)

    @cached_property
    def drawn(self) -> Simulation:
        """The design in which every power-up draws what its source leaves open."""
        return Simulation(self.opened.drawn) if self.opened.places else self.simulation


def seated(board: Board, datasheet: Datasheet) -> Seat:
    """The design that a datasheet names, with what it says is wired to it, on this board."""
    found = memories(datasheet)
    if not found:
        return Seat(datasheet, wrapper_netlist(datasheet))
    bench = answering(found, board.link == "chain")
    return Seat(datasheet, wrapper_netlist(datasheet, bench=bench), found)


@dataclass(frozen=True)
class Shown:
    """What the pins show, change by change: a row for each frame in which anything changes.

    In frame `frames[k]` the selected design's inputs become `inputs[k]` and the board's output pins
    `outputs[k]`, of which the bits in `proved` cannot depend on the power-up and those in `sampled` did not.
    The design that the steps are counted for has seen `steps[k]` rises of its step line by then. Frame -1
    stands for what a chain shows before its first frame has run. `stories` are by slot.
    """

    frames: Frames
    steps: Frames
    inputs: NDArray[np.uint8]
    outputs: NDArray[np.uint8]
    proved: NDArray[np.uint8]
    sampled: NDArray[np.uint8]
    stories: Mapping[int, Story]


def run(
    plan: Timeline,
    seats: Mapping[int, Seat],
    slot: int,
    power_ups: Callable[[], Iterable[PowerUp]],
    seed: int = 0,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Shown:
    """Carry out a timeline; the steps are those that the design in `slot` sees. Slots without a seat are empty.

    Slots do not touch each other, so each design is run by itself through the frames in which it is selected, from
    each of the `power_ups` (made anew for each design); in between it stands still. `seed` is for races. `progress`
    is told updates done and due.
    """
    tables = {number: routing(plan.board, seat.datasheet) for number, seat in seats.items()}
    reached = {
        number: _reaching(plan, number, tables[number]) for number in set(plan.slots.tolist()) & set(seats)
    }
    total = sum(len(frames) for frames, _ in reached.values())
    stories: dict[int, Story] = {}
    done = 0
    for number, (frames, values) in reached.items():
        told = partial(lambda before, now: progress(before + now, total), done)
        if seats[number].memories:
            spans = [(first, end) for first, end, where in _spans(plan) if where == number]
            story = _answered(seats[number], plan, spans, frames, values, power_ups(), seed, told)
        else:
            story = _story(seats[number], frames, values, power_ups, seed, told)
        if number == slot and story.inputs is None and not story.loops and story.answer.ends > 1:
            story = _repeating(story, seats[number].drawn, values, plan, slot)
        stories[number] = story
        done += len(frames)
    rises = _rises(*reached[slot], step_input(seats[slot].datasheet)) if slot in reached else _NONE
    return _merged(plan, stories, tables, rises)


def _story(
    seat: Seat,
    frames: Frames,
    values: Lines,
    power_ups: Callable[[], Iterable[PowerUp]],
    seed: int,
    progress: Callable[[int], None],
) -> Story:
    """Loops that run free are taken out as they are found, and what they reach is neither proved nor agreed upon."""
    loops: tuple[Oscillation, ...] = ()
    while True:
        still = Seat(seat.datasheet, stilled(seat.netlist, loops)) if loops else seat
        try:
            answer = run_power_ups(still.drawn, values, power_ups(), seed, progress, still.opened.free)
            break
        except LoopError as error:
            if not error.loops or len(loops) + len(error.loops) > MOST_LOOPS:
                raise
            loops += error.loops
    known = np.uint8(ALL & ~touched(seat.netlist, (value for loop in loops for value in loop.values)))
    proved = prove(still.opened.netlist, values)
    return Story(
        frames,
        answer.outputs,
        proved.bits & known,
        without_glitches(still.netlist, proved.forks, answer.agreed & known),
        answer,
        loops=loops,
        doubts=proved.forks,
        left_open=proved.left_open,
        openings=_openings(still, values, power_ups, seed, answer.agreed | ~known),
    )


def _openings(
    seat: Seat,
    values: Lines,
    power_ups: Callable[[], Iterable[PowerUp]],
    seed: int,
    agreed: NDArray[np.uint8],
) -> tuple[Opening, ...]:
    """What the source leaves open and outputs are unsettled for, told by a run in which it is 0 for all power-ups."""
    if not seat.opened.places or np.all(agreed == ALL):
        return ()
    try:
        lost = run_power_ups(seat.simulation, values, power_ups(), seed).agreed & ~agreed
        return openings(seat.opened, seat.drawn, values, islice(power_ups(), _ASKED), lost)
    except LoopError:  # with 0 there it runs free, so there is nothing to compare with
        return ()


def _answered(
    seat: Seat,
    plan: Timeline,
    spans: Sequence[tuple[int, int]],
    frames: Frames,
    values: Lines,
    power_ups: Iterable[PowerUp],
    seed: int,
    progress: Callable[[int], None],
) -> Story:
    """The story of a design with memories: on a chain they go on in every frame, row by row.

    Nothing of it is proved: with chance in the netlist little is, and LLVM takes 15 s over the rails of so many clocks.
    """
    rows, each, changes = values, 1, len(frames)
    if plan.latency:
        frames, values = every_frame(frames, values, spans)
        rows, each = in_phases(values, len(routing(plan.board, seat.datasheet))), len(PHASES)
    share = changes / len(rows)

    def told(done: int) -> None:
        progress(int(done * share))

    answer = run_power_ups(seat.drawn, rows, power_ups, seed, told, seat.opened.free)
    seat.simulation.restart(0)
    seat.simulation.settle()
    seen = seat.simulation.run_samples("inputs", rows, "seen")[each - 1 :: each]
    check_contention(plan.board, seat.memories, plan.ticks(frames), values, seen >> 8)
    forks = tuple(replace(fork, update=fork.update // each) for fork in answer.forks)
    outputs, agreed = answer.outputs[::each], answer.agreed[::each]
    given = (seen & ALL).astype(np.uint8)
    return Story(frames, outputs, np.zeros_like(agreed), agreed, replace(answer, forks=forks), inputs=given)


def _repeating(story: Story, simulation: Simulation, values: Lines, plan: Timeline, slot: int) -> Story:
    """The story, in which what is the same but for a shift is agreed upon."""
    if np.all(story.agreed | story.proved == ALL):
        return story
    found = period(simulation, values, story.answer)
    if found is None or plan.slots[-1] != slot:
        return story
    gaps = np.diff(story.frames[found.start :])
    if np.any(gaps != gaps[0]) or plan.end - story.frames[-1] > gaps[0] + plan.latency:
        return story
    agreed = story.agreed.copy()
    agreed[found.start + 1 :] = ALL
    return replace(story, agreed=agreed, period=found)


_NONE: Frames = np.zeros(0, np.int64)


def _spans(plan: Timeline) -> Iterator[tuple[int, int, int]]:
    """First frame, end and slot of each time that the selector stood still."""
    firsts = plan.turns.tolist()
    ends = [*firsts[1:], *([plan.end] if firsts else [])]
    yield from zip(firsts, ends, plan.slots.tolist(), strict=True)


def _carried(plan: Timeline, first: int, end: int) -> tuple[Frames, Lines]:
    """The lines in `first`, and their changes before `end`."""
    low = int(np.searchsorted(plan.frames, first, side="right")) - 1
    high = int(np.searchsorted(plan.frames, end, side="left"))
    return np.concatenate(([first], plan.frames[low + 1 : high])), plan.lines[low:high]


def _routed(lines: Lines, table: Sequence[int]) -> NDArray[np.uint16]:
    """The board's lines as the inputs of a design, by its routing."""
    if table == tuple(range(8)):
        return lines & np.uint16(ALL)
    found = np.zeros_like(lines)
    for bit, line in enumerate(table):
        found |= (lines >> np.uint16(line) & np.uint16(1)) << np.uint16(bit)
    return found


def _reaching(plan: Timeline, slot: int, table: Sequence[int]) -> tuple[Frames, NDArray[np.uint16]]:
    """When the inputs of the design in a slot change, and to what."""
    follows = plan.board.link == "direct" and plan.board.unselected == "run"
    spans = [(0, plan.end)] if follows else [(a, b) for a, b, where in _spans(plan) if where == slot]
    parts = [_carried(plan, first, end) for first, end in spans]
    frames = np.concatenate([frames for frames, _ in parts])
    values = _routed(np.concatenate([lines for _, lines in parts]), table)
    kept = np.ones(len(values), bool)
    kept[1:] = values[1:] != values[:-1]
    return frames[kept], values[kept]


def _rises(frames: Frames, values: NDArray[np.uint16], step: int | None) -> Frames:
    """The frames in which the step line rises; it is low at power-up."""
    if step is None:
        return _NONE
    levels = (values >> np.uint16(step) & np.uint16(1)).astype(np.int8)
    rising: Frames = frames[np.diff(levels, prepend=np.int8(0)) == 1]
    return rising


def _merged(
    plan: Timeline, stories: Mapping[int, Story], tables: Mapping[int, Sequence[int]], rises: Frames
) -> Shown:
    """Inputs and pins of all spans on one axis, rows in which nothing changes left out."""
    rest = np.zeros(1, np.uint8)
    when, what, shown_when = [_NONE], [rest[:0].astype(np.uint16)], [_NONE]
    shown: list[tuple[NDArray[np.uint8], ...]] = [(rest[:0],) * 3]
    if plan.latency:  # before the first frame has run: lines at rest, and nothing captured yet
        when, what = [np.array([-1])], [rest.astype(np.uint16)]
        shown_when, shown = [np.array([-1])], [(rest,) * 3]
    empty = tuple(np.array([levels], np.uint8) for levels in (plan.board.empty_outputs, ALL, ALL))
    for first, end, slot in _spans(plan):
        frames, lines = _carried(plan, first, end)
        lines = _routed(lines, tables.get(slot, tuple(range(8))))
        found = np.array([first]), empty
        if slot in stories:
            found = stories[slot].within(first, end, plan.latency)
            frames, lines = stories[slot].given(first, end) or (frames, lines)
        when.append(frames)
        what.append(lines)
        shown_when.append(found[0])
        shown.append(found[1])
    input_frames, inputs = _compact(np.concatenate(when), np.concatenate(what).astype(np.uint8))
    outputs, sure, agreed = map(np.concatenate, zip(*shown, strict=True))
    pin_frames, outputs, sure, agreed = _compact(
        np.concatenate(shown_when), outputs & (sure | agreed), sure, agreed & ~sure
    )
    frames, row, pin = _united(input_frames, pin_frames)
    steps = np.searchsorted(rises, frames, side="right")
    columns = (inputs[row], outputs[pin], sure[pin], agreed[pin])
    return Shown(frames, steps, *columns, stories)


def _compact(frames: Frames, *columns: NDArray[Any]) -> tuple[NDArray[Any], ...]:
    """Without the rows in which nothing changes."""
    kept = np.zeros(len(frames), bool)
    kept[:1] = True
    for column in columns:
        kept[1:] |= column[1:] != column[:-1]
    return frames[kept], *(column[kept] for column in columns)


def _united(one: Frames, other: Frames) -> tuple[Frames, Frames, Frames]:
    """Both in one rising sequence, each frame once, and the rows of either that hold there.

    Both must begin with the same frame.
    """
    both = np.concatenate((one, other))
    order = np.argsort(both, kind="stable")  # which takes hardly more than one look at two rising sequences
    both = both[order]
    last = np.ones(len(both), bool)
    last[:-1] = both[1:] != both[:-1]
    ones = np.cumsum(order < len(one))[last]
    return both[last], ones - 1, np.flatnonzero(last) - ones
