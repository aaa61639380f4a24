"""Searches for input settings and lengths with which a run reveals more stuck-at faults."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import (
    Action,
    Procedure,
    Pulse,
    Restart,
    Seconds,
    Set,
    Steps,
    to_text,
)
from forelight.designs.sheets.attachments import driven_lines, heard_lines
from forelight.sim.errors import ForelightError
from forelight.sim.files import write_whole
from forelight.sim.frozen import frozen
from forelight.sim.lanes.revealed import NEVER, FaultRun, batches
from numpy.typing import NDArray

from ..bench.inside import Inside
from ..boards.profile import Board
from ..hand.hand import Hand
from ..limits import LimitError
from .measure import Faults, Progress, power_ups
from .record import Coverage

#: Moves that are added at most, and random settings of all inputs that are tried for each.
MOST_MOVES, MOST_SETTINGS = 48, 8
#: Steps after a move that are looked at: more if the fewer reveal nothing.
LENGTHS = 32, 128, 512, 2048
#: A move costs a person as much as so many steps.
MOVE = 8
#: What is looked at in all: updates times gates, for each batch of faults.
MOST_WORK = 400_000_000
#: Seconds for which a setting of plain logic stands.
STANDS_S = 1.0


@frozen
class _Stand:
    """Where a run stands: what the lanes of each batch hold, and the sound design, for each power-up."""

    lanes: tuple[tuple[bytes, ...], ...]
    sound: tuple[bytes, ...]


@frozen
class _Tail:
    """What reaches the design after a place in the run: its inputs, and how often the step line has risen since."""

    rows: NDArray[np.uint16]
    steps: NDArray[np.int64]


class Search:
    """A run that grows by moves: inputs that are set otherwise, or the restart, and steps after that.

    What is settled is taken from a few power-ups here: the golden of the grown run has the last word.
    """

    def __init__(
        self, inside: Inside, board: Board, procedure: Procedure, slot: int, faults: Faults, seed: int = 0
    ) -> None:
        self.inside, self.board, self.slot, self.seed = inside, board, slot, seed
        self.sheet, self.faults, self.actions = faults.sheet, faults, procedure.actions
        self.batches: list[FaultRun] = []
        self.work = 0

    def moves(
        self, missed: Sequence[int], progress: Progress = lambda done, total: None
    ) -> tuple[Action, ...]:
        """The actions that are to be added so that more of these faults are revealed; none where nothing helps."""
        left = [self.faults.chosen[number] for number in missed]
        self.batches = [FaultRun(self.faults.drawn, part) for part in batches(left)]
        revealed = np.zeros(len(left), bool)
        added: tuple[Action, ...] = ()
        start, here = 0, None
        for number in range(MOST_MOVES):
            progress(number, MOST_MOVES)
            kept, tail = self._tail(added, start)
            first, here = self._run(here, tail)
            revealed |= first != NEVER
            start = kept
            best = None if revealed.all() else self._best(added, kept, here, revealed)
            if best is None:
                break
            added += best
        return added

    def _best(
        self, added: tuple[Action, ...], kept: int, here: _Stand, revealed: NDArray[np.bool_]
    ) -> tuple[Action, ...] | None:
        """The move that reveals most for what it costs; longer ones where no short one reveals anything."""
        hand = Hand(self.board, self.sheet, self.slot)
        hand.do((*self.actions, *added))
        if not hand.situation().here:
            return None
        choices = list(self._choices(hand, random.Random(self.seed + len(added))))
        for length in LENGTHS if self.sheet.step else LENGTHS[:1]:
            found: list[tuple[float, tuple[Action, ...]]] = []
            for choice in choices:
                if self.work > MOST_WORK:
                    return None
                try:
                    _, tail = self._tail((*added, *choice, self._wait(hand, length)), kept)
                    first, _ = self._run(here, tail)
                except LimitError:
                    raise
                except ForelightError:  # refused on this bench, or a loop that runs free
                    continue
                rows = np.sort(first[(first != NEVER) & ~revealed])
                if len(rows):
                    steps = tail.steps[rows] + 1
                    worth = np.arange(1, len(rows) + 1) / (MOVE + steps)
                    at = int(worth.argmax())
                    found.append((float(worth[at]), (*choice, self._wait(hand, int(steps[at])))))
            if found:
                return max(found, key=lambda pair: pair[0])[1]
        return None

    def _choices(self, hand: Hand, chance: random.Random) -> Iterator[tuple[Action, ...]]:
        """Nothing, the restart, each input the other way, and random settings of them all."""
        situation = hand.situation()
        yield ()
        if self.sheet.restart:
            yield (Restart(),)
        taken = {role.line for role in (self.sheet.step, self.sheet.restart) if role}
        taken |= {*driven_lines(self.sheet), *heard_lines(self.sheet)}
        if situation.clocked and situation.clock_line:
            taken.add(situation.clock_line)
        free = {line: situation.switches[line] for line in INPUT_LINES if line not in taken}
        yield from ((Set({line: 1 - level}),) for line, level in free.items())
        for _ in range(MOST_SETTINGS):
            wanted = {line: chance.randrange(2) for line in free}
            if moved := {line: level for line, level in wanted.items() if level != free[line]}:
                yield (Set(moved),)

    def _wait(self, hand: Hand, steps: int) -> Action:
        """So many steps, by hand where the step clock does not reach the design."""
        situation = hand.situation()
        if self.sheet.step is None:
            return Seconds(STANDS_S)
        return Steps(steps) if situation.clocked and situation.reached else Pulse(steps)

    def _tail(self, added: tuple[Action, ...], start: int) -> tuple[int, _Tail]:
        """What reaches the design from update `start` on; and how many updates there are whatever is done next."""
        whole = Procedure("search", (*self.actions, *added))
        inside = Inside.of(self.board, self.sheet, whole, self.slot, self.inside.seat)
        kept = int(np.searchsorted(inside.frames, inside.plan.end - inside.plan.latency))
        steps = inside.steps - (inside.steps[start - 1] if start else 0)
        return kept, _Tail(inside.rows[start:].astype(np.uint16), steps[start:])

    def _run(self, here: _Stand | None, tail: _Tail) -> tuple[NDArray[np.int64], _Stand]:
        """For each fault the first update that reveals it, and where the run stands then; from power-up if not said."""
        self.work += len(tail.rows) * len(self.faults.drawn.cells) * len(self.batches)
        held = *power_ups(self.seed), random.Random(self.seed + 1), random.Random(self.seed + 2)
        shown, sound = [], []
        simulation = self.inside.simulation
        for number, power_up in enumerate(held):
            if here is None:
                simulation.power_cycle(power_up)
                simulation.settle()
            else:
                simulation.restore(here.sound[number])
            shown.append(simulation.run_samples("inputs", tail.rows, "outputs"))
            sound.append(simulation.snapshot())
        differ = np.bitwise_or.reduce([one ^ shown[0] for one in shown])
        settled = (~differ & np.uint8(0xFF)).astype(np.uint64)
        late, lanes = [], []
        for number, batch in enumerate(self.batches):
            first, states = [], []
            for at, power_up in enumerate(power_ups(self.seed)):
                if here is None:
                    batch.power_cycle(power_up)
                else:
                    batch.load(here.lanes[number][at])
                first.append(batch.run({"inputs": tail.rows}, {"outputs": settled}))
                states.append(batch.save())
            late.append(np.where(np.min(first, axis=0) == NEVER, NEVER, np.max(first, axis=0)))
            lanes.append(tuple(states))
        return np.concatenate(late), _Stand(tuple(lanes), tuple(sound))


@frozen
class Improved:
    """A run that reveals more than the one that was asked for: what is done once the slot is brought up.

    `added` is how many actions of it are new; none where nothing was found, and then `after` is as before.
    """

    name: str
    actions: tuple[Action, ...]
    added: int
    before: Coverage
    after: Coverage

    @property
    def gained(self) -> int:
        return self.after.revealed - self.before.revealed

    def write(self, path: Path) -> None:
        """The run as a procedure file, if it reveals more."""
        if self.gained > 0:
            does = "".join(f"    {json.dumps(to_text(action))},\n" for action in self.actions)
            write_whole(path, f"name = {json.dumps(self.name)}\ndo = [\n{does}]\n")

    def to_json(self) -> dict[str, object]:
        return {
            "do": [to_text(action) for action in self.actions],
            "gained": self.gained,
            "coverage": self.after.to_json(),
        }
