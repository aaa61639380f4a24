"""The shared options to a question: which design, on which board, under which procedure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import field, replace
from fractions import Fraction
from functools import cached_property, partial
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING

from forelight.designs.catalogue import Found
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.actions import HAND_HZ
from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.procedure import (
    Action,
    Play,
    Procedure,
    Restart,
    Seconds,
    Select,
    Set,
    Strap,
    load_toml,
    of_run,
)
from forelight.designs.procedures.text import Where
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from ..bench.course import Seat, seated
from ..bench.predict import predict
from ..bench.settling import Settling, restart_tick, settling
from ..boards.divider import rate
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..chip.netlist import wrapper_netlist
from ..golden.golden import Golden
from ..hand.hand import Hand
from ..hand.routine import bring_up, check_on, default_procedure, divides, one_by_one, strap_code
from ..limits import stage
from ..terminal.output import progress

if TYPE_CHECKING:
    from ..bench.inside import Inside
    from ..bench.restarting import Restarting
    from ..coverage.measure import Faults
    from ..coverage.record import Coverage

#: How long a design runs after its restart, if nothing is said ...
USUAL_SECONDS = 10.0
#: ... but no more steps than this, on boards with a fast step clock.
USUAL_STEPS = 200_000


@frozen
class Asked:
    """The options of a command that runs a design, as they were given."""

    slot: str
    board: str
    strap: int | None
    hz: float | None
    levels: Mapping[str, int]
    run_name: str | None
    procedure: Path | None
    seconds: float | None
    seed: int
    power_ups: int = 256
    steps: int | None = None  # instead of seconds
    play: Path | None = None
    mapping: Mapping[str, str] = field(default_factory=dict)  # columns of the recording that is played
    other_side: Collection[int] = ()  # its changes in doubt that are to come on the other side of a rise


@frozen
class Question:
    """A design on a board under a procedure.

    The procedure's first `added` actions are those that Forelight put before what was asked for; its first
    `setting_up` actions bring the slot up, the restart included. `told` are the actions that were asked for, as they
    were told; `asked_levels` those of inputs that are to be other than idle. The inputs may have been played from the
    recording `itself` that is held against it.
    """

    board: Board
    sheet: Datasheet
    slot: int | None
    procedure: Procedure
    asked_hz: float | None
    added: int
    setting_up: int
    seed: int
    power_ups: int
    told: tuple[Action, ...] = ()
    asked_levels: Mapping[str, int] = field(default_factory=dict)
    itself: bool = False
    #: What was read of the design, also for the same question under another procedure.
    seats: dict[str, Seat] = field(default_factory=dict, compare=False, repr=False)

    @property
    def code(self) -> int | None:
        """The first strap code that the procedure sets."""
        return next(
            (action.code for action in one_by_one(self.procedure.actions) if isinstance(action, Strap)), None
        )

    def start(self) -> int:
        """The tick at which the slot is up: its restart has been let go."""
        hand = Hand(self.board, self.sheet, self.slot or 0)
        hand.do(self.procedure.actions[: self.setting_up])
        return hand.now

    def golden(self) -> Golden:
        with progress(f"Running {self.sheet.name}") as advance, stage(f"running {self.sheet.name}"):
            return predict(
                self.board,
                self.sheet,
                self.procedure,
                slot=self.slot,
                seat=self.seat,
                power_ups=self.power_ups,
                seed=self.seed,
                progress=advance,
            )

    def inside(self, slot: int) -> Inside:
        """What happens in the design, in the slot that it has or in which it was foretold."""
        from ..bench.inside import Inside

        return Inside.of(self.board, self.sheet, self.procedure, slot, self.seat)

    def coverage(
        self,
        golden: Golden,
        *,
        faults: Faults | None = None,
        start: int | None = None,
        end: int | None = None,
        outputs: Collection[str] = OUTPUT_LINES,
    ) -> Coverage:
        """What it reveals once the slot is up, or from tick `start` to tick `end`; see `coverage/measure.py`."""
        from ..coverage.measure import coverage

        doing = f"trying faults of {self.sheet.name}"
        with progress(doing.capitalize()) as advance, stage(doing):
            inside = self.inside(int(golden.facts["slot"]))
            begin = self.start() if start is None else start
            return coverage(inside, golden, begin, faults=faults, end=end, outputs=outputs, progress=advance)

    def settling(self, golden: Golden) -> Settling:
        """Whether and when its outputs settle."""
        slot = int(golden.facts["slot"])
        return settling(golden, restart_tick(self.board, self.sheet, self.procedure, slot))

    def restarting(self) -> Restarting | None:
        """What the restart alone settles, whatever was before; None for a design without one. Worked out once."""
        return self._restarting

    @cached_property
    def _restarting(self) -> Restarting | None:
        from ..bench.restarting import restarting

        with stage(f"proving what the restart of {self.sheet.name} settles"):
            return restarting(self.board, self.alone, self.procedure)

    @property
    def seat(self) -> Seat:
        """The design with what is wired to it, read once."""
        if "wired" not in self.seats:
            self.seats["wired"] = seated(self.board, self.sheet)
        return self.seats["wired"]

    @property
    def alone(self) -> Seat:
        """The design with nothing wired to it, read once."""
        if not self.seat.memories:
            return self.seat
        if "alone" not in self.seats:
            self.seats["alone"] = Seat(self.sheet, wrapper_netlist(self.sheet))
        return self.seats["alone"]


def question(
    asked: Asked, board: Board | None = None, procedure: Procedure | None = None, found: Found | None = None
) -> Question:
    """What was asked, checked; an empty slot is an `EmptySlotError`.

    A program may have `board`, checked, `procedure` and what was `found` in the slot at hand, which then stand for
    those that are named.
    """
    for one, other, names in (
        (asked.strap, asked.hz, "--strap and --hz"),
        (asked.run_name, asked.procedure, "--run and --procedure"),
        (asked.run_name or asked.procedure, asked.play, "--run or --procedure and --play"),
        (asked.run_name or asked.procedure, asked.seconds, "--run or --procedure and --seconds"),
        (asked.play, asked.seconds, "--play and --seconds"),
    ):
        if one is not None and other is not None:
            raise UsageError(f"{names} contradict each other", remedy="give one of them")
    board = board or load_board(asked.board)
    found = found or find(board, asked.slot)
    sheet, slot = found.datasheet, found.slot
    told = procedure is not None or any((asked.run_name, asked.procedure, asked.play))
    if not divides(board, sheet):
        paced = sheet.step is not None and not told  # then --hz is the pace of the hand
        if asked.strap is not None or (asked.hz is not None and not paced):
            remedy = f"leave --strap{'' if paced else ' and --hz'} out"
            raise UsageError(f"the step clock of {board.name} does not drive {sheet.name}", remedy=remedy)
    if asked.strap is not None:
        rate(board, asked.strap)  # refuses a code that the board has not
    asking = _told(asked, board, sheet, slot, procedure) if told else _usual(asked, board, sheet, slot)
    return replace(asking, asked_levels=asked.levels)


def _usual(asked: Asked, board: Board, sheet: Datasheet, slot: int | None) -> Question:
    """Bring the slot up, restart it, let it run."""
    usual = default_procedure(
        board, sheet, asked.strap, asked.hz, asked.levels, _steps(asked, board, sheet), slot=slot
    )
    actions = usual.actions
    if sheet.step is None and asked.seconds is not None:
        actions = (*actions[:-1], Seconds(asked.seconds))
    first = next((n for n, action in enumerate(actions, 1) if isinstance(action, Restart)), None)
    up = first or next(n for n, action in enumerate(actions) if not isinstance(action, (Select, Set, Strap)))
    return Question(
        board, sheet, slot, Procedure(usual.name, actions), asked.hz, up, up, asked.seed, asked.power_ups
    )


def _steps(asked: Asked, board: Board, sheet: Datasheet) -> int:
    """Steps until the time is over; the first comes a whole step after the restart."""
    if asked.steps is not None:
        return asked.steps
    if not divides(board, sheet):
        return max(1, ceil((asked.seconds or USUAL_SECONDS) * (asked.hz or HAND_HZ)))
    hz = board.step_hz(strap_code(board, sheet, code=asked.strap, hz=asked.hz))
    steps = ceil(Fraction(asked.seconds or USUAL_SECONDS) * hz) - 1
    return max(1, steps if asked.seconds is not None else min(steps, USUAL_STEPS))


def _told(
    asked: Asked, board: Board, sheet: Datasheet, slot: int | None, given: Procedure | None
) -> Question:
    """A run of the datasheet, a procedure or a recording, with the slot brought up before it."""
    where: Where
    if given is not None:
        told = given
        where = told.places or told.name
    elif asked.play is not None:
        restart = (Restart(),) if sheet.restart is not None else ()
        told = Procedure("played", (*restart, Play(asked.play.name)), "", asked.play.parent)
        where = f"--play {asked.play}"
    elif asked.procedure is None:
        told = of_run(sheet, asked.run_name or "")
        where = told.places or f"run {asked.run_name}"
    else:
        told = load_toml(asked.procedure)
        where = told.places
    check_on(board, sheet, told.actions, where, slot=slot, levels=asked.levels)
    clocked = clocked_at_start(told.actions)
    if not clocked and (asked.strap is not None or asked.hz is not None):
        raise UsageError(
            f"the procedure {told.name} sets the step clock itself", remedy="leave --strap and --hz out"
        )
    before = bring_up(
        board, sheet, slot=slot, code=asked.strap, hz=asked.hz, levels=asked.levels, clocked=clocked
    )
    up = len(before) + isinstance(told.actions[0], Restart)
    done = told
    if any(isinstance(action, Play) for action in told.actions):
        from ..capture.play import played

        playing = partial(
            played,
            board=board,
            datasheet=sheet,
            slot=slot or 0,
            mapping=asked.mapping,
            before=before,
            where=where,
            other_side=asked.other_side,
        )
        done = playing(told)
        if asked.play is not None and _restarts(done.actions[1:], sheet):
            # A recording that was begun before its own restart: nothing is known of what was before it.
            told = replace(told, actions=told.actions[1:])
            done = playing(told)
            up = len(before)
    whole = replace(done, actions=(*before, *done.actions), places=())
    return Question(
        board, sheet, slot, whole, asked.hz, len(before), up, asked.seed, asked.power_ups, told.actions
    )


def _restarts(actions: Sequence[Action], sheet: Datasheet) -> bool:
    """Whether a hand presses restart in these actions."""
    if sheet.restart is None:
        return False
    line, active = sheet.restart.line, int(sheet.restart.active == "high")
    levels = [action.levels[line] for action in actions if isinstance(action, Set) and line in action.levels]
    return active in levels
