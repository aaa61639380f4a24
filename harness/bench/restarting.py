"""What the restart alone makes of a design: proved from any state, at any rate, and said in one of a few sentences.

All that a design remembers is unknown when the restart begins, so whatever set it up before, and every run of its
datasheet, is covered; its inputs stand as they do when it is brought up, and as each run leaves them. The step line may
be at either level, and the divider at any phase and rate: of these only the order counts in which the step line and the
restart line move, and `orders` gives all there are. Steps that are made by hand are among them. At the fastest rate the
step line moves in every frame, so it falls as the restart is let go: what only that race leaves open is told apart.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import reduce
from operator import or_
from typing import Literal

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Procedure, Restart
from forelight.sim.errors import ForelightError
from forelight.sim.frozen import frozen
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import Proof, Unsettled
from forelight.sim.undefined.machines import CODED_ANEW

from ..boards.profile import Board
from ..chip.routing import restart_input, routing, step_input
from ..hand.hand import Hand
from ..hand.routine import bring_up, divides, one_by_one, run_procedure
from ..hand.step_clock import StepClock
from ..view.words import hertz, ranges
from .course import Seat, routed
from .freerun import touched

#: Steps after the restart in which what it leaves out may still settle, or show itself.
TRIED = 64
#: Registers that a sentence names.
MOST_NAMES = 6
#: Frames that the step line keeps its level below the fastest rate: with more of them the lines move in no other order.
HALVES = (2, 3)
#: Levels of the step line and of the restart line, 1 for active, after each update.
Order = tuple[tuple[int, int], ...]
#: The one order without a step line.
UNSTEPPED: tuple[Order, ...] = (((0, 0), (0, 1), (0, 0)),)


@frozen
class Restarting:
    """What the restart alone settles.

    `left_out` are registers and memories, with their source lines, that may still hold what they held before; `late`
    are those that settle only by steps that follow the restart, while the inputs stand still. `reached` are the outputs
    that depend on what is left out, of which those in `shown` were unsettled within `TRIED` steps after it. `steps`,
    counted from the beginning of the restart, is after how many all outputs are settled for good, whatever comes
    next; None where they are not. `left_open` says in words what was not followed, of what is left out. At `fastest_hz`
    the race of restart and step line may leave one thing or another in what `raced` names.
    """

    steps: int | None
    left_out: tuple[str, ...] = ()
    late: tuple[str, ...] = ()
    reached: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    left_open: str = ""
    raced: tuple[str, ...] = ()
    fastest_hz: float = 0.0

    @property
    def settles(self) -> Literal["everything", "outputs", "nothing", "unknown"]:
        if self.reached:
            return "unknown" if self.left_open else "nothing"
        return "outputs" if self.left_out else "everything"

    def __str__(self) -> str:
        """The sentence for people, the same wherever the restart is spoken of."""
        they = "it" if len(self.left_out) == 1 else "they"
        kept = f"{_listed(self.left_out)} may still hold what {they} held before"
        match self.settles:
            case "unknown":
                return f"Whether the restart settles the design is not proved: {self.left_open}."
            case "nothing":
                outputs = self.shown or self.reached
                shows = "shows" if len(outputs) == 1 else "show"
                may = shows if self.shown else "may come to show"
                return f"The restart does not settle the design: {kept}, and {ranges(outputs)} {may} it."
        if self.late:
            when = f"but {_listed(self.late)} only {self._when}, if the inputs stand still until then"
        else:
            when = self._when
        if self.settles == "outputs":
            return (
                f"The restart settles the outputs alone, {when}: {kept}, but no output depends on that. "
                f"This is proved from any state, {self._rates}."
            )
        return f"The restart settles the whole design, {when}: proved from any state, {self._rates}."

    @property
    def _rates(self) -> str:
        if not self.raced:
            return "at any rate"
        hold = "holds" if len(self.raced) == 1 else "hold"
        return (
            f"at any rate below {hertz(self.fastest_hz)}. At that rate the step line falls as the restart is let go, "
            f"and which of them is first may decide what {_listed(self.raced)} then {hold}"
        )

    @property
    def _when(self) -> str:
        if not self.steps:
            return "at once"
        return f"{'1 step' if self.steps == 1 else f'{self.steps} steps'} after it begins"

    def answer(self) -> dict[str, object]:
        """The same for scripts."""
        return {"settles": self.settles, **vars(self), "sentence": str(self)}


def _listed(names: tuple[str, ...]) -> str:
    """The first few of them."""
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more


def restarting(board: Board, seat: Seat, asked: Procedure | None = None) -> Restarting | None:
    """None for a design without a restart. Nothing is wired to the design in its `seat`.

    The restart lasts as usual, or as its shortest one in the procedure `asked`, which may also bring the inputs to
    other levels.
    """
    sheet = seat.datasheet
    if sheet.restart is None:
        return None
    lengths = (
        [action.length for action in one_by_one(asked.actions) if isinstance(action, Restart)]
        if asked
        else []
    )
    length = min(lengths, default=Restart().length)
    proof = seat.proof(TRIED)
    netlist = proof.netlist
    standing = sorted(set(_standing(board, sheet, asked)))

    def tried(halves: Iterable[int]) -> Restarting:
        all_orders = orders(length, halves) if sheet.step is not None else UNSTEPPED
        courses = [_restarted(proof, sheet, levels, order) for levels in standing for order in all_orders]
        return _outcome(netlist, courses, _own("; ".join(proof.left_open)))

    found = tried(HALVES if divides(board, sheet) else ())
    if not divides(board, sheet):
        return found
    fastest = tried((board.half(0),))
    before = frozenset(found.left_out)
    raced = tuple(name for name in fastest.left_out if name not in before)
    steps = found.steps if found.steps is None or fastest.steps is None else max(found.steps, fastest.steps)
    return replace(found, steps=steps, raced=raced, fastest_hz=float(board.step_hz(0)))


def _outcome(netlist: Netlist, courses: Sequence[_Tried], left_open: str) -> Restarting:
    """What several restarts come to."""
    left_out = dict.fromkeys(one for course in courses for one in course.kept[-1])
    late = dict.fromkeys(one for course in courses for one in course.kept[course.ends] if one not in left_out)
    keys = {one.key for one in left_out}
    reached = touched(netlist, keys, (-1 - key for key in keys)) if keys else 0
    shown = reached & reduce(or_, (course.unknown for course in courses), 0)
    return Restarting(
        steps=None if reached else max(course.settled(left_out) for course in courses),
        left_out=tuple(dict.fromkeys(_named(netlist, one) for one in left_out)),
        late=tuple(dict.fromkeys(_named(netlist, one) for one in late)),
        reached=_outputs(reached),
        shown=_outputs(shown),
        left_open=left_open if left_out else "",
    )


def _standing(board: Board, sheet: Datasheet, asked: Procedure | None) -> Iterator[int]:
    """The design's inputs when it is brought up, after each run, and before each restart that is asked."""
    yield _levels(board, sheet, bring_up(board, sheet))
    for run in sheet.runs:
        try:
            yield _levels(board, sheet, run_procedure(board, sheet, run.name).actions)
        except ForelightError:  # it cannot be carried out on this board
            continue
    actions = list(one_by_one(asked.actions)) if asked else []
    for place, action in enumerate(actions):
        if isinstance(action, Restart):
            yield _levels(board, sheet, actions[:place])


def _levels(board: Board, sheet: Datasheet, actions: Iterable[Action]) -> int:
    hand = Hand(board, sheet)
    hand.do(actions)
    lines = np.array([hand.standing.levels], np.uint16)
    return int(routed(lines, routing(board, sheet))[0])


def orders(length: int, halves: Iterable[int]) -> tuple[Order, ...]:
    """Every order in which step and restart line can move in a restart of so many steps, the levels before it first.

    Those of steps by hand, from either level, and those of a divider at each phase that keeps its level for one of
    `halves` frames.
    """
    found: dict[Order, None] = {}
    for level in (0, 1):
        steps = [(level ^ 1, 1), (level, 1)] * length
        found[(level, 0), (level, 1), *steps, (level, 0)] = None
    for half in halves:
        for phase in range(2 * half):
            frames = StepClock(True, True, phase, half).frames_to_rise(length)
            levels = [(phase + 2 * half + frame) // half & 1 for frame in range(-1, frames + 1)]
            active = [0, *[1] * frames, 0]
            rows = list(zip(levels, active, strict=True))
            moves = (row for before, row in zip([None, *rows], rows, strict=False) if row != before)
            found[tuple(moves)] = None
    return tuple(found)


@frozen
class _Tried:
    """What becomes of one restart.

    After update k of it, and of the steps that follow, `kept[k]` is not settled and the step line has risen `rises[k]`
    times; the restart is over with update `ends`. Outputs in `unknown` were not settled then or later.
    """

    kept: tuple[tuple[Unsettled, ...], ...]
    rises: tuple[int, ...]
    ends: int
    unknown: int

    def settled(self, left_out: Container[Unsettled]) -> int:
        """The steps until all but what is left out is settled for good."""
        open_ = [any(one not in left_out for one in kept) for kept in self.kept]
        return self.rises[len(open_) - open_[::-1].index(True)] if True in open_ else 0


def _restarted(proof: Proof, sheet: Datasheet, levels: int, order: Order) -> _Tried:
    """A restart from any state with the other inputs at these levels, and steps until nothing new can come."""

    def update(row: tuple[int, int]) -> tuple[Unsettled, ...]:
        proof.update({"inputs": _inputs(sheet, levels, row)})
        return proof.unsettled()

    proof.power_cycle()
    update(
        order[0]
    )  # the first settling after power-up makes no edges: any state in which the design is at rest
    stand = order[-1]
    rows = [*order[1:], *([(1 - stand[0], 0), stand] * TRIED if sheet.step is not None else [])]
    kept, rises, ends = [], [0], len(order) - 2
    unknown = 0
    states: set[bytes] = set()
    for number, row in enumerate(rows):
        kept.append(update(row))
        rises.append(rises[-1] + (number > 0 and row[0] > rows[number - 1][0]))
        if number < ends:
            continue
        unknown |= ~proof.get("outputs")[1] & 0xFF
        state = proof.snapshot()[0]
        if not kept[-1] or (row == stand and state in states):
            break
        if row == stand:
            states.add(state)
    return _Tried(tuple(kept), tuple(rises[1:]), ends, unknown)


def _inputs(sheet: Datasheet, levels: int, row: tuple[int, int]) -> int:
    """All inputs, with step and restart line at the levels of a row of an order."""
    step, restart = step_input(sheet), restart_input(sheet)
    assert restart is not None and sheet.restart is not None
    active = row[1] ^ int(sheet.restart.active == "low")
    levels = levels & ~(1 << restart) | active << restart
    return levels if step is None else levels & ~(1 << step) | row[0] << step


def _named(netlist: Netlist, one: Unsettled) -> str:
    """Its name in the source, where that gives one, and its line."""
    name = one.name.removesuffix(CODED_ANEW)
    if "$" in name:  # it is a part of something that has a name
        shown = (n for n, word in netlist.names.items() if "$" not in n and one.key in word.values())
        innermost = max(shown, key=lambda n: (n.count("."), not n.endswith(".outputs")), default="")
        name = innermost or "a register without a name"
    return f"{_own(name)} ({one.line})" if one.line else _own(name)


def _own(words: str) -> str:
    """Without the levels of hierarchy that the wrapper adds to the design's."""
    return words.replace("wrapper.design.", "").replace("wrapper.", "")


def _outputs(mask: int) -> tuple[str, ...]:
    return tuple(line for bit, line in enumerate(OUTPUT_LINES) if mask >> bit & 1)
