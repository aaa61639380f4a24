"""One design on its way through a timeline: what reaches it while it is selected, and what it answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.sim.frozen import frozen
from forelight.sim.loops import LoopError, Oscillation
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import Proof, worth_following
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from forelight.sim.undefined.opened import Opened, opened
from numpy.typing import NDArray

from ..attach.wired_memory import PHASES, WiredMemory, memories
from ..boards.profile import Board
from ..chip.netlist import wrapper_netlist
from ..chip.routing import routing, step_input
from ..hand.ledger import Ledger
from ..hand.timeline import Frames, Lines, Timeline
from .answers import check_contention, every_frame, in_phases
from .freerun import MOST_LOOPS, stilled, touched
from .glitches import Glitches
from .openings import Opening, openings
from .powerups import Sample
from .proof import Prover
from .story import Outcome, Story

if TYPE_CHECKING:
    from ..chip.wired_design import WiredDesign
    from ..chip.wrapper import Wrapper

ALL = 0xFF
#: Power-ups that are asked when it is open what the source leaves open.
_ASKED = 16
PowerUps = Callable[[], Iterable[PowerUp]]


@frozen
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

    def proof(self, updates: int) -> Proof:
        """A proof of its own for a run of about so many updates; all of them share what could be shared."""
        most = worth_following(updates)
        kept = next((one for cells, one in self._proofs.items() if cells == most or one.plain), None)
        kept = self._proofs.setdefault(most, kept or Proof(self.opened.netlist, most_cells=most))
        return kept.again()

    @cached_property
    def _proofs(self) -> dict[int, Proof]:
        return {}

    @cached_property
    def drawn(self) -> Simulation:
        """The design in which every power-up draws what its source leaves open."""
        return Simulation(self.opened.drawn) if self.opened.places else self.simulation


def seated(board: Board, datasheet: Datasheet) -> Seat:
    """The design that a datasheet names, with what it says is wired to it, on this board."""
    found = memories(datasheet)
    if not found:
        return Seat(datasheet, wrapper_netlist(datasheet))
    chained = board.link == "chain"

    def bench(wrapper: Wrapper) -> WiredDesign:
        from ..attach.answering import answering

        return answering(found, chained)(wrapper)

    kind = f"answered, {'chained' if chained else 'direct'}"
    return Seat(datasheet, wrapper_netlist(datasheet, bench=bench, kind=kind), found)


class Course:
    """A design in slot `slot`, and its story so far: it follows a timeline as that grows, and can go back.

    Slots do not touch each other, so each design is run by itself through the frames in which it is selected, from
    each of the `power_ups` (made anew whenever the run begins anew); in between it stands still. `seed` is for races.
    `updates` is how many there will be, about; if not said, as many as in the first run.
    """

    def __init__(
        self, board: Board, slot: int, seat: Seat, power_ups: PowerUps, seed: int, updates: int = 0
    ) -> None:
        self.board, self.slot, self.seat = board, slot, seat
        self.table = routing(board, seat.datasheet)
        self._power_ups, self._seed, self._updates = power_ups, seed, updates
        self._follows = board.link == "direct" and board.unselected == "run"
        self._every_frame = bool(seat.memories) and board.link == "chain"
        self._step = step_input(seat.datasheet)
        self._reached = self._ran = 0  # frames of the timeline, rows of it that have been run
        self._frames, self._values = Ledger(np.int64), Ledger(np.uint16)
        self._rises = Ledger(np.int64)
        self._run: _Plain | _Answered | None = None

    @property
    def rises(self) -> Frames:
        """The frames in which the step line rises; it is low at power-up."""
        return self._rises.rows

    @property
    def frames(self) -> Frames:
        """The frames of the updates."""
        return self._frames.rows

    @property
    def values(self) -> Lines:
        """The inputs in each update."""
        return self._values.rows

    @property
    def due(self) -> int:
        """How many updates there are to be run."""
        return len(self._frames) - self._ran

    @property
    def loops(self) -> tuple[Oscillation, ...]:
        """Those that were found to run free; with each one found the whole story changes."""
        return self._run.loops if isinstance(self._run, _Plain) else ()

    def reach(self, plan: Timeline, *, lasting: bool = False) -> None:
        """See what the timeline brings, to its end; one that is `lasting` does not change any more."""
        since, self._reached = self._reached, plan.end
        reached = [(first, end) for first, end, slot in spans(plan, since) if slot == self.slot]
        if self._follows:
            reached = [(since, plan.end)]
        if not reached:
            return
        parts = [carried(plan, first, end) for first, end in reached]
        frames, lines = (
            np.concatenate(part) if len(part) > 1 else part[0] for part in zip(*parts, strict=True)
        )
        values = routed(lines, self.table)
        before = self._values.rows[-1:].copy()
        if self._step is not None:
            levels = np.concatenate((before if len(before) else _LOW, values)) >> np.uint16(self._step) & 1
            self._rises.append(frames[np.diff(levels.astype(np.int8)) == 1])
        if self._every_frame:
            frames, values = every_frame(frames, values, reached)
        else:
            kept = np.ones(len(values), bool)
            kept[1:] = values[1:] != values[:-1]
            kept[:1] &= values[0] != before[0] if len(before) else True
            if not kept.all():
                frames, values = frames[kept], values[kept]
        put = Ledger.take if lasting else Ledger.append
        put(self._frames, frames)
        put(self._values, values)

    def run(self, plan: Timeline, progress: Callable[[int], None] = lambda done: None) -> None:
        """Run what is due; `progress` is told how much of that has been run."""
        first, self._ran = self._ran, len(self._frames)
        if first == self._ran:
            return
        if self._run is None:
            make = _Answered if self.seat.memories else _Plain
            updates = self._updates or self._ran
            self._run = make(self.board, self.seat, self._power_ups, self._seed, updates)
        frames, values = self._frames.rows, self._values.rows
        self._run.extend(plan, frames[first:], values[first:], values, progress)

    def outcome(self) -> Outcome:
        """What it put out so far; there must have been something to run."""
        assert self._run is not None
        return self._run.outcome(self._frames.rows)

    def story(self) -> Story:
        """The same, and on what it rests."""
        assert self._run is not None
        return self._run.story(self._frames.rows, self._values.rows)

    @property
    def first(self) -> bytes:
        """The state of the first power-up."""
        assert self._run is not None
        state: bytes = self._run.sample.states[0]
        return state

    def snapshot(self) -> Any:
        """How far it is, to give back to `restore`."""
        run = self._run.snapshot() if self._run else None
        return self._reached, self._ran, len(self._frames), len(self._rises), run

    def restore(self, snapshot: Any) -> None:
        """Go back to what `snapshot` gave."""
        self._reached, self._ran, rows, rises, run = snapshot
        self._frames.cut(rows)
        self._values.cut(rows)
        self._rises.cut(rises)
        if run is None:
            self._run = None
        elif self._run is not None:
            self._run.restore(run, self._values.rows)


class _Plain:
    """Loops that run free are taken out as they are found, and what they reach is neither proved nor agreed upon."""

    def __init__(self, board: Board, seat: Seat, power_ups: PowerUps, seed: int, updates: int) -> None:
        self.seat, self.power_ups, self.seed, self.updates = seat, power_ups, seed, updates
        self._begin(())

    def _begin(self, loops: tuple[Oscillation, ...]) -> None:
        """From power-up on, without these loops."""
        self.loops = loops
        self.known = np.uint8(ALL)
        seat = self.seat
        if loops:
            seat = Seat(seat.datasheet, stilled(seat.netlist, loops))
            values = [value for loop in loops for value in loop.values]
            self.known = np.uint8(ALL & ~touched(self.seat.netlist, values))
        self._seat = seat
        self.sample = Sample(seat.drawn, self.power_ups(), self.seed, self.updates, seat.opened.free)
        self.prover: Prover | None = None
        self.glitches = Glitches(seat.netlist)
        self._agreed, self._proved = Ledger(np.uint8, self.updates + 1), Ledger(np.uint8, self.updates + 1)

    def extend(
        self, plan: Timeline, frames: Frames, values: Lines, whole: Lines, progress: Callable[[int], None]
    ) -> None:
        while True:
            try:
                self.sample.extend(values, progress)
                break
            except LoopError as error:
                if not error.loops or len(self.loops) + len(error.loops) > MOST_LOOPS:
                    raise
                self._begin(self.loops + error.loops)
                values = whole
        self._claim(values)

    def _claim(self, values: Lines) -> None:
        """What is proved of these updates, the last of those that were made, and what is agreed upon."""
        if self.prover is None:
            self.prover = Prover(self._seat.proof(self.updates))
        self.prover.extend(values)
        done = len(self._agreed)
        self._proved.append(self.prover.bits[done:] & self.known)
        agreed = ~self.sample.differ[done:] & self.known
        self._agreed.append(self.glitches.without(agreed, done, self.prover.forks(self.glitches.forks)))

    def outcome(self, frames: Frames) -> Outcome:
        return Outcome(frames, self.sample.outputs, self._proved.rows, self._agreed.rows)

    def story(self, frames: Frames, values: Lines) -> Story:
        assert self.prover is not None
        return Story(
            **vars(self.outcome(frames)),
            answer=self.sample.answer(),
            loops=self.loops,
            doubts=self.prover.forks(),
            left_open=self.prover.left_open,
            openings=self._openings(values),
        )

    def _openings(self, values: Lines) -> tuple[Opening, ...]:
        """What the source leaves open and unsettles outputs, told by a run in which all power-ups take 0 there."""
        seat, differ = self._seat, self.sample.differ & self.known
        if not seat.opened.places or not differ.any():
            return ()
        try:
            plain = Sample(seat.simulation, self.power_ups(), self.seed, len(values))
            plain.extend(values)
            lost = ~plain.differ & differ
            return openings(seat.opened, seat.drawn, values, islice(self.power_ups(), _ASKED), lost)
        except LoopError:  # with 0 there it runs free, so there is nothing to compare with
            return ()

    def snapshot(self) -> Any:
        prover = self.prover.snapshot() if self.prover else None
        return self.loops, self.sample.snapshot(), prover, self.glitches.snapshot(), len(self._agreed)

    def restore(self, snapshot: Any, values: Lines) -> None:
        loops, sample, prover, glitches, length = snapshot
        if loops != self.loops or prover is None:
            self._begin(loops)
            if len(values):
                self.sample.extend(values)
                self._claim(values)
            return
        assert self.prover is not None
        self.sample.restore(sample)
        self.prover.restore(prover)
        self.glitches.restore(glitches)
        self._agreed.cut(length)
        self._proved.cut(length)


class _Answered:
    """A design with memories: on a chain they go on in every frame, row by row.

    Nothing of it is proved: with chance in the netlist little is, and LLVM takes 15 s over the rails of so many clocks.
    """

    def __init__(self, board: Board, seat: Seat, power_ups: PowerUps, seed: int, updates: int) -> None:
        self.board, self.seat = board, seat
        chained = board.link == "chain"
        self.each = len(PHASES) if chained else 1
        self.width = len(routing(board, seat.datasheet))
        self.sample = Sample(seat.drawn, power_ups(), seed, self.each * updates, seat.opened.free)
        self.given = Ledger(np.uint8)
        seat.simulation.power_cycle(0)
        seat.simulation.settle()
        self.first = seat.simulation.snapshot()  # of the power-up at 0, of which is told what it is given
        self.before = 0

    def extend(
        self, plan: Timeline, frames: Frames, values: Lines, whole: Lines, progress: Callable[[int], None]
    ) -> None:
        if not len(frames):
            return
        rows = in_phases(values, self.before, self.width) if self.each > 1 else values
        simulation = self.seat.simulation
        self.sample.extend(rows, lambda done: progress(done // self.each))
        simulation.restore(self.first)
        seen = simulation.run_samples("inputs", rows, "seen")[self.each - 1 :: self.each]
        self.first = simulation.snapshot()
        check_contention(self.board, self.seat.memories, plan.ticks(frames), values, seen >> 8)
        self.given.append((seen & ALL).astype(np.uint8))
        self.before = int(values[-1])

    def outcome(self, frames: Frames) -> Outcome:
        outputs, agreed = self.sample.outputs[:: self.each], ~self.sample.differ[:: self.each]
        return Outcome(frames, outputs, np.zeros_like(agreed), agreed, self.given.rows)

    def story(self, frames: Frames, values: Lines) -> Story:
        answer = self.sample.answer()
        forks = tuple(replace(fork, update=fork.update // self.each) for fork in answer.forks)
        return Story(**vars(self.outcome(frames)), answer=replace(answer, forks=forks))

    def snapshot(self) -> Any:
        return self.sample.snapshot(), len(self.given), self.first, self.before

    def restore(self, snapshot: Any, values: Lines) -> None:
        sample, given, self.first, self.before = snapshot
        self.sample.restore(sample)
        self.given.cut(given)


_LOW = np.zeros(1, np.uint16)


def spans(plan: Timeline, since: int = 0) -> Iterator[tuple[int, int, int]]:
    """First frame, end and slot of each time that the selector stood still, from frame `since` on."""
    begun = max(0, int(np.searchsorted(plan.turns, since, side="right")) - 1)
    firsts = plan.turns[begun:].tolist()
    ends = [*firsts[1:], *([plan.end] if firsts else [])]
    for first, end, slot in zip(firsts, ends, plan.slots[begun:].tolist(), strict=True):
        if end > since:
            yield max(first, since), end, slot


def carried(plan: Timeline, first: int, end: int) -> tuple[Frames, Lines]:
    """The lines in `first`, and their changes before `end`."""
    low = int(np.searchsorted(plan.frames, first, side="right")) - 1
    high = int(np.searchsorted(plan.frames, end, side="left"))
    frames = plan.frames[low:high]
    if frames[0] != first:
        frames = np.concatenate(([first], frames[1:]))
    return frames, plan.lines[low:high]


def routed(lines: Lines, table: Sequence[int]) -> NDArray[np.uint16]:
    """The board's lines as the inputs of a design, by its routing."""
    if tuple(table) == tuple(range(8)):
        return lines & np.uint16(ALL)
    found = np.zeros_like(lines)
    for bit, line in enumerate(table):
        found |= (lines >> np.uint16(line) & np.uint16(1)) << np.uint16(bit)
    return found
