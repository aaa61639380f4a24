"""Whether two designs do the same: random stimulus with rare restarts first, then every state that can be reached.

The hand moves inputs while the step line is low, makes steps, and restarts now and then. The proof goes through all
pairs of states that such moves lead to from a restart, so that it holds for moves of any length; where there are too
many, nothing is claimed but what was tried. That a restart leads to one pair is proved where ternary simulation can,
and else seen from some power-ups.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import SupportsIndex

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Procedure, Pulse, Restart, Seconds, Set
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen
from forelight.sim.simulation import Simulation
from forelight.sim.state import PowerUp
from forelight.sim.undefined.opened import STATE_MACHINE, opened

from ..bench.course import Seat
from ..bench.restarting import restarting
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..chip.netlist import wrapper_netlist
from ..chip.routing import restart_input, step_input
from .asking import Design, as_slot

#: Moves of the random stimulus; one in so many is a restart.
MOVES, RESTARTS = 20_000, 64
#: Steps that a restart is held for, as `restart` does.
HELD = 2
#: Power-ups from which a restart is tried, to see whether it settles the designs.
WOKEN = 64
#: Moves of the hand that the proof carries out at most.
MOST = 200_000


#: The states of both designs, and the inputs.
Node = tuple[bytes, bytes, int]


@frozen
class Equivalence:
    """`equal` is True (proved), False (there is a `counterexample`) or None (no difference found, and no proof).

    The counterexample is a procedure after which the outputs of the two designs differ: `predict` shows it on either.
    `moves` were tried at random, `states` pairs of states were reached in the proof. That a restart settles both is
    "proved" or was "seen" from some power-ups; else it is "", as where a difference was found. Without one there is
    nothing to settle. `because` says it in a sentence.
    """

    equal: bool | None
    counterexample: Procedure | None
    moves: int
    states: int
    settled: str
    because: str

    def __bool__(self) -> bool:
        return self.equal is True

    def __str__(self) -> str:
        return self.because


@frozen
class _Handles:
    """Step and restart as bits of the inputs, the level at which the restart holds, the free bits, and all at rest."""

    step: int | None
    restart: int | None
    active: int
    free: tuple[int, ...]
    rest: int

    def rows(self, action: Action, now: int) -> list[int]:
        """The inputs, one update after another, that an action makes of `now`."""
        match action:
            case Set(levels):
                for line, level in levels.items():
                    bit = INPUT_LINES.index(line)
                    now = now & ~(1 << bit) | level << bit
                return [now]
            case Pulse(count):
                assert self.step is not None
                return [now | 1 << self.step, now] * count
            case Restart(length):
                assert self.restart is not None
                held = now & ~(1 << self.restart) | self.active << self.restart
                between = [] if self.step is None else [held | 1 << self.step, held] * length
                return [held, *between, now]
            case _:
                return []


def equivalent(
    one: Design,
    other: Design,
    *,
    board: str | Path | Board = "quay",
    moves: SupportsIndex = MOVES,
    most: SupportsIndex = MOST,
    seed: SupportsIndex = 0,
) -> Equivalence:
    """Compare two designs, each named as for `predict`, by what their outputs do from a restart on.

    Without a restart line they are compared from all flip-flops at 0. Raises UsageError where step and restart lie on
    different lines, and a ForelightError for a design that cannot be read.
    """
    profile = load_board(board)
    sheets = [find(profile, as_slot(design)).datasheet for design in (one, other)]
    lines = _lines(*sheets)
    pair = [Simulation(wrapper_netlist(sheet)) for sheet in sheets]
    count = moves.__index__()
    actions = list(_random_moves(lines, count, random.Random(seed.__index__())))
    at = _differ(pair, lines, actions)
    if at is not None:
        found = _shortened(pair, lines, actions[: at + 1])
        return _unequal(lines, found, at + 1, 0)
    settled = _settled(profile, sheets, pair, lines)
    reached, found = _explored(pair, lines, most.__index__())
    if found:
        return _unequal(lines, found, count, reached)
    if reached < 0:
        because = f"no difference in {count} moves; too many states to go through for a proof"
        return Equivalence(None, None, count, 0, settled, because)
    if not settled:
        because = f"no difference in {count} moves; no proof, as the restart does not settle what both hold"
        return Equivalence(None, None, count, reached, settled, because)
    left_open = list(dict.fromkeys(_left_open(pair)))
    if left_open:
        because = (
            f"no difference in {count} moves; no proof, as a chip's maker may choose: {'; '.join(left_open)}"
        )
        return Equivalence(None, None, count, reached, settled, because)
    begin = "a restart" if lines.restart is not None else "all flip-flops at 0"
    because = f"equal: none of the {reached} pairs of states that can be reached from {begin} differs"
    if lines.restart is not None:
        how = "is proved" if settled == "proved" else f"was seen from {WOKEN} power-ups"
        because += f"; that it settles both {how}"
    return Equivalence(True, None, count, reached, settled, because)


def _lines(one: Datasheet, other: Datasheet) -> _Handles:
    roles = []
    for sheet in (one, other):
        active = int(sheet.restart.active == "high") if sheet.restart else 1
        roles.append((step_input(sheet), restart_input(sheet), active))
    if roles[0] != roles[1]:
        raise UsageError(
            f"{one.name} and {other.name} have step or restart on different lines, or with different levels",
            remedy="give both the same [step] and [restart] in their datasheets",
        )
    step, restart, active = roles[0]
    named = {line for sheet in (one, other) for line in sheet.lines if line in INPUT_LINES}
    free = named if one.lines and other.lines else set(INPUT_LINES)
    places = tuple(n for n, line in enumerate(INPUT_LINES) if line in free and n not in (step, restart))
    idle = one.idle if restart is None else one.idle & ~(1 << restart) | (1 - active) << restart
    return _Handles(step, restart, active, places, idle)


def _random_moves(lines: _Handles, count: int, chance: random.Random) -> Iterator[Action]:
    """A restart first, then steps and moves of the inputs, and now and then a restart."""
    for number in range(count):
        if lines.restart is not None and (number == 0 or chance.randrange(RESTARTS) == 0):
            yield Restart(HELD)
        elif lines.free and (lines.step is None or chance.randrange(2)):
            chosen = chance.sample(lines.free, chance.randint(1, len(lines.free)))
            yield Set({INPUT_LINES[bit]: chance.randrange(2) for bit in sorted(chosen)})
        elif lines.step is not None:
            yield Pulse(1)


def _differ(pair: Sequence[Simulation], lines: _Handles, actions: Sequence[Action]) -> int | None:
    """The number of the first action in which the outputs differ from power-up on; None where none does."""
    rows, owner, now = [lines.rest], [0], lines.rest
    for number, action in enumerate(actions):
        made = lines.rows(action, now)
        now = made[-1]
        rows += made
        owner += [number] * len(made)
    shown = []
    for simulation in pair:
        simulation.power_cycle(0)
        shown.append(
            simulation.run_samples("inputs", np.array(rows, np.uint16).astype(_kind(simulation)), "outputs")
        )
    after = next((n for n, action in enumerate(actions) if isinstance(action, Restart)), None)
    apart = np.flatnonzero(shown[0] != shown[1])
    if after is not None:  # what power-up leaves is no difference of the designs
        ends = np.flatnonzero(np.array(owner) == after)
        apart = apart[apart >= ends[-1]]
    return owner[int(apart[0])] if len(apart) else None


def _kind(simulation: Simulation) -> type[np.unsignedinteger]:
    return np.uint8 if simulation.inputs["inputs"] <= 8 else np.uint16


def _shortened(pair: Sequence[Simulation], lines: _Handles, actions: Sequence[Action]) -> list[Action]:
    """From the last restart on, and without what is not needed, as far as the outputs still differ at the end."""
    found = list(actions)
    last = max((n for n, action in enumerate(found) if isinstance(action, Restart)), default=0)
    if _differ(pair, lines, found[last:]) is not None:
        found = found[last:]
    for size in (len(found) // 2, len(found) // 4, 8, 2, 1):
        at = len(found) - size
        while size and at > 0:
            shorter = found[:at] + found[at + size :]
            where = _differ(pair, lines, shorter)
            if where is not None:
                found = shorter[: where + 1]
            at = min(at, len(found)) - size
    return found


def _settled(board: Board, sheets: Sequence[Datasheet], pair: Sequence[Simulation], lines: _Handles) -> str:
    """How it is known that each design is in one state after a restart, but for what no output depends on."""
    if lines.restart is None:
        return "proved"
    proofs = [restarting(board, Seat(sheet, one.netlist)) for sheet, one in zip(sheets, pair, strict=True)]
    if all(found and found.settles in ("everything", "outputs") and not found.late for found in proofs):
        return "proved"
    ups: list[PowerUp] = [0, 1, *(random.Random(n) for n in range(WOKEN - 2))]
    seen = all(len({_begun(simulation, lines, up) for up in ups}) == 1 for simulation in pair)
    return "seen" if seen else ""


def _left_open(pair: Sequence[Simulation]) -> Iterator[str]:
    """What the sources leave open, other than how a state machine is coded, which a restart sets right."""
    for simulation in pair:
        for place in opened(simulation.netlist).places:
            if not place.reason.startswith(STATE_MACHINE):
                yield f"{place.reason}, {place.line}".replace("wrapper.design.", "").replace("wrapper.", "")


def _begun(simulation: Simulation, lines: _Handles, power_up: PowerUp) -> bytes:
    """The state after the inputs are at rest and, where there is a restart, one of these."""
    simulation.power_cycle(power_up)
    _ran(simulation, [lines.rest])
    if lines.restart is not None:
        _ran(simulation, lines.rows(Restart(HELD), lines.rest))
    return simulation.snapshot()


def _ran(simulation: Simulation, rows: Sequence[int]) -> bytes:
    """What the outputs are after each of these updates."""
    return simulation.run_samples("inputs", np.array(rows, _kind(simulation)), "outputs").tobytes()


def _explored(pair: Sequence[Simulation], lines: _Handles, most: int) -> tuple[int, list[Action]]:
    """All pairs of states that moves lead to, breadth first: how many, and the actions to the first difference.

    Minus one where that takes more than `most` moves.
    """
    letters = [_level(lines, pattern) for pattern in range(1 << len(lines.free))]
    first: Node = (_begun(pair[0], lines, 0), _begun(pair[1], lines, 0), lines.rest)
    seen: dict[Node, tuple[Node, Action] | None] = {first: None}
    waiting = deque([first])
    done = 0
    while waiting:
        node = waiting.popleft()
        now = node[2]
        for action in _moves_from(lines, letters, now):
            done += 1
            if done > most:
                return -1, []
            rows = lines.rows(action, now)
            shown = []
            states = []
            for simulation, state in zip(pair, node[:2], strict=True):
                simulation.restore(state)
                shown.append(_ran(simulation, rows))
                states.append(simulation.snapshot())
            if shown[0] != shown[1]:
                return len(seen), [*_way(seen, node), action]
            after: Node = (states[0], states[1], rows[-1])
            if after not in seen:
                seen[after] = node, action
                waiting.append(after)
    return len(seen), []


def _level(lines: _Handles, pattern: int) -> int:
    """The free inputs at this pattern, all others at rest."""
    value = lines.rest
    for place, bit in enumerate(lines.free):
        value = value & ~(1 << bit) | (pattern >> place & 1) << bit
    return value


def _moves_from(lines: _Handles, letters: Sequence[int], now: int) -> Iterator[Action]:
    """A step, a restart, and the inputs at any other levels."""
    if lines.step is not None:
        yield Pulse(1)
    if lines.restart is not None:
        yield Restart(HELD)
    for letter in letters:
        moved = letter ^ now
        if moved:
            yield Set({INPUT_LINES[bit]: letter >> bit & 1 for bit in lines.free if moved >> bit & 1})


def _way(seen: Mapping[Node, tuple[Node, Action] | None], node: Node) -> list[Action]:
    """The actions that led to a pair of states."""
    actions: list[Action] = []
    while before := seen[node]:
        node, action = before
        actions.append(action)
    return actions[::-1]


def _unequal(lines: _Handles, actions: Sequence[Action], moves: int, states: int) -> Equivalence:
    """The counterexample as a procedure by hand."""
    told = list(actions)
    if lines.restart is not None and not any(isinstance(action, Restart) for action in told):
        told.insert(0, Restart(HELD))
    if lines.step is not None and not (told and isinstance(told[0], Pulse)):
        told.insert(
            0, Pulse(1)
        )  # the first step by hand leaves the step clock off; the restart undoes what it does
    if lines.step is None:
        told.append(Seconds(0.01))
    because = f"they differ after {len(told)} moves of the hand"
    return Equivalence(False, Procedure("counterexample", tuple(told)), moves, states, "", because)
