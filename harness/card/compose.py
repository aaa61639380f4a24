"""Puts the card of one slot together from what is known of design and board and from what is foretold."""

from __future__ import annotations

from collections.abc import Iterator

from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import (
    Action,
    Enable,
    Frames,
    Play,
    Procedure,
    Pulse,
    Repeat,
    Seconds,
    Strap,
    to_text,
)
from forelight.sim.frozen import frozen

from ..bench.course import Seat
from ..bench.restarting import Restarting
from ..boards.profile import Board
from ..golden.golden import Golden
from ..hand.hand import Hand
from ..verdict.causes.mishap import Handling
from ..view.pictures import since
from .care import care
from .leaf import Card, Part, Sentences
from .probing import probes
from .seeing import sights
from .setting import settings
from .slips import slips
from .start import tasks


@frozen
class Occasion:
    """A design, in its seat on a board under a procedure, and the golden of it.

    `told` are the actions as a person is told them, a recording that is played being one; `up` of them bring the slot
    up. `restarting` is what the restart alone settles. `asked` is how a command asks for the same procedure.
    """

    board: Board
    seat: Seat
    slot: int | None
    procedure: Procedure
    told: tuple[Action, ...]
    up: int
    golden: Golden
    restarting: Restarting | None = None
    asked: str = ""

    @property
    def sheet(self) -> Datasheet:
        return self.seat.datasheet


def compose(occasion: Occasion) -> Card:
    """The card."""
    board, sheet = occasion.board, occasion.sheet
    begins = list(_begins(occasion))
    start = begins[occasion.up] if occasion.up < len(begins) else occasion.golden.end
    golden = since(occasion.golden, start)
    marks = (
        [(tick - start, str(number)) for number, tick in enumerate(begins, 1)]
        if occasion.told == occasion.procedure.actions
        else []
    )
    marks = marks[occasion.up :]
    slot = f"slot {occasion.slot} of {board.name}" if occasion.slot is not None else f"tried on {board.name}"
    name = str(occasion.slot) if occasion.slot is not None else sheet.name
    check = f"forelight check {name} RECORDING.csv{occasion.asked}"
    parts = (
        Part("Care", (Sentences(care(board, sheet, occasion.told, golden)),)),
        Part("Set", settings(board, sheet, occasion.slot, occasion.told[: occasion.up])),
        Part("Start", (tasks(board, sheet, occasion.told),)),
        Part(
            "See",
            (
                *sights(board, sheet, golden, marks, occasion.procedure, _by_steps(occasion)),
                *_restart(occasion),
            ),
        ),
        Part("Probe", probes(board, sheet, golden, marks, check)),
        *_slips(occasion),
    )
    return Card(
        name=sheet.name,
        title=sheet.title,
        where=slot,
        creator=sheet.creator,
        description=sheet.description,
        parts=parts,
        kinds=kinds(sheet, golden),
        slot=occasion.slot,
        run=occasion.procedure.name,
        facts={"do": [to_text(action) for action in occasion.told]},
    )


def _slips(occasion: Occasion) -> Iterator[Part]:
    """What the usual slips look like; nothing on a card of a design that they do not change."""
    board, sheet, slot = occasion.board, occasion.sheet, occasion.slot or 0
    actions, up = occasion.procedure.actions, occasion.up
    line = sheet.step.line if sheet.step else board.step_line
    it = Handling(board, sheet, slot, slot, actions[:up], actions[up:])
    said = tuple(slips(it, "step" if line == "own" else line, occasion.seat))
    if said:
        yield Part("Slips", (Sentences(said),))


def _restart(occasion: Occasion) -> Iterator[Sentences]:
    if occasion.restarting is not None:
        yield Sentences((str(occasion.restarting),))


def _by_steps(occasion: Occasion) -> int | None:
    """The strap code of a run that goes by the steps of one step clock alone."""
    codes = [action.code for action in occasion.told if isinstance(action, Strap)]
    waits = (Seconds, Frames, Pulse, Play, Repeat, Enable)
    alone = not any(isinstance(action, waits) for action in occasion.told)
    return codes[0] if len(codes) == 1 and alone else None


def _begins(occasion: Occasion) -> Iterator[int]:
    """The tick at which each action of the procedure begins."""
    hand = Hand(occasion.board, occasion.sheet, occasion.slot or 0)
    for action in occasion.procedure.actions:
        yield hand.now
        hand.do([action])


def kinds(sheet: Datasheet, golden: Golden) -> tuple[str, ...]:
    """Under which words the index of a booklet names a design."""
    found = [f"with a {one.kind}" for one in sheet.attach]
    if sheet.step is None:
        found.append("plain logic, no clock")
    elif sheet.restart is None:
        found.append("clocked, without a restart")
    else:
        found.append("clocked, with a restart")
    if golden.facts.get("start") == "anywhere":
        found.append("wakes up anywhere")
    if (golden.settled != 0xFF).any():
        found.append("leaves some outputs open")
    return tuple(dict.fromkeys(found))
