"""Foretells what the board's pins do in a procedure, with what is settled and on what that rests."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from itertools import starmap
from typing import Any

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Procedure, Select, to_text
from forelight.sim.errors import UsageError
from forelight.sim.proof.ternary import OpenUpdate
from numpy.typing import NDArray

from ..boards.profile import Board
from ..boards.roster import find
from ..chip.netlist import fights_in, source_warnings
from ..chip.routing import input_names
from ..golden.golden import Golden, Race
from ..hand.routine import one_by_one
from ..hand.timeline import Timeline, timeline
from .bench import Shown, run
from .course import Seat, seated
from .powerups import sampled_power_ups
from .story import Story

#: What of a board profile cannot change a prediction: its labels, and which designs lie in other slots.
_LABELS = frozenset({"title", "slots", "pins", "display", "path"})


def predict(
    board: Board,
    datasheet: Datasheet,
    procedure: Procedure,
    *,
    slot: int | None = None,
    seat: Seat | None = None,
    power_ups: int = 256,
    seed: int = 0,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Golden:
    """The golden of a procedure, in which `datasheet` sits in `slot` and the board's roster fills the other slots.

    `slot` is by default where the board has the design, else the first slot that the procedure selects, else 0; the
    selector stands on it at the start, and its `seat` may be at hand. A bit that no power-up and no race can change is
    proved. The run is repeated from `power_ups` power-ups (all zero, all one, the declared initial values, and random
    ones by `seed`), each with an order by chance where lines move together; a bit on which they differ is unsettled.
    `progress` is told updates done and due. Raises a ForelightError for a design that cannot be read or a procedure
    that cannot be carried out.
    """
    if power_ups < 1:
        raise UsageError(f"{power_ups} power-ups are too few", remedy="give at least 1")
    every = one_by_one(procedure.actions)
    selected = list(dict.fromkeys(action.slot for action in every if isinstance(action, Select)))
    if slot is None:
        slot = _home(board, datasheet, selected)
    plan = timeline(board, datasheet, procedure, slot=slot)
    seats = {slot: seat or seated(board, datasheet)}
    for number in sorted(set(plan.slots.tolist()) - {slot}):
        if number in board.slots:
            seats[number] = seated(board, find(board, str(number)).datasheet)
    shown = run(plan, seats, slot, lambda: sampled_power_ups(power_ups, seed), seed, progress)
    sampling: dict[str, str | int] = {"power_ups": power_ups, "seed": seed, "bound": f"3/{power_ups}"}
    start = _start(plan, shown.stories.get(slot))
    facts = _facts(plan, datasheet, procedure, slot, seats) | sampling | start
    loops = tuple(loop for story in shown.stories.values() for loop in story.loops)
    if loops:
        facts["free_running"] = "; ".join(map(str, loops))
    left_open = [words for story in shown.stories.values() for words in story.left_open]
    if left_open:
        facts["left_open"] = "; ".join(left_open).replace("wrapper.design.", "").replace("wrapper.", "")
    warnings = source_warnings(seats[slot].netlist)
    fights = fights_in(warnings)
    if fights:
        facts["fights"] = "; ".join(fights)
    if len(warnings) > len(fights):
        facts["warnings"] = "; ".join(said for said in warnings if said not in fights)
    undefined = list(_undefined(plan, shown))
    if undefined:
        facts["undefined"] = "; ".join(undefined)
    races, suspects = (
        _races(plan, datasheet, shown.stories[slot], shown) if slot in shown.stories else ((), ())
    )
    # What all of it rests on goes: a long run needs the room.
    shown = replace(shown, stories={})
    bare = golden_of(plan, shown, slot)
    return replace(bare, facts=facts, races=races, suspects=suspects, loops=loops)


def golden_of(plan: Timeline, shown: Shown, slot: int) -> Golden:
    """What the pins show in time, with no other facts than where the design in this slot may begin."""
    ticks = plan.ticks(shown.frames)
    ticks[shown.frames < 0] = 0
    return Golden(
        board=plan.board.name,
        oscillator_hz=plan.board.oscillator_hz,
        ticks=ticks,
        steps=shown.steps,
        inputs=shown.inputs,
        outputs=shown.outputs,
        proved=shown.proved,
        sampled=shown.sampled,
        end=int(plan.start_ticks(np.array([plan.end]))[0]),
        facts=_start(plan, shown.stories.get(slot)),
    )


def _start(plan: Timeline, story: Story | None) -> dict[str, str | int]:
    """Whether the prediction is fixed in time, or begins anywhere in a period."""
    found = story.period if story else None
    if story is None or found is None:
        return {"start": "fixed"}
    frames = story.frames[[found.start, found.start + 2]] + plan.latency
    first, second = plan.ticks(frames).tolist()
    return {
        "start": "anywhere",
        "period_ticks": (second - first) * (found.length // 2),
        "period_from_tick": first,
        "period_steps": found.length // 2,
    }


def _undefined(plan: Timeline, shown: Shown) -> Iterator[str]:
    """What the source leaves open and outputs are unsettled for: why, when, and where it says so."""
    for story in shown.stories.values():
        for found in story.openings:
            when = ""
            if found.update < 0 and not found.always:
                when = " from power-up on"
            elif not found.always:
                row = np.searchsorted(shown.frames, story.frames[found.update], side="right") - 1
                when = f" at step {shown.steps[row]}"
            lines = (line for bit, line in enumerate(OUTPUT_LINES) if found.outputs >> bit & 1)
            where = found.line or f"shown by {' and '.join(lines)}"
            yield f"{found.reason}{when}, {where}".replace("wrapper.design.", "").replace("wrapper.", "")


def _races(
    plan: Timeline, datasheet: Datasheet, story: Story, shown: Shown
) -> tuple[tuple[Race, ...], tuple[Race, ...]]:
    """The races that left an output unsettled, and those that only took the proof from one."""
    names = input_names(datasheet)

    def race(fork: OpenUpdate, outputs: int) -> Race:
        frame = story.frames[fork.update : fork.update + 1]
        row = int(np.searchsorted(shown.frames, frame[0], side="right")) - 1
        return Race(
            tick=int(plan.ticks(frame)[0]),
            step=int(shown.steps[row]),
            lines=tuple(names[bit] for _, bit in fork.lines),
            outputs=tuple(line for bit, line in enumerate(OUTPUT_LINES) if outputs >> bit & 1),
            registers=tuple(name.removeprefix("wrapper.").removeprefix("design.") for name in fork.registers),
        )

    glitches = (fork for fork in story.doubts if fork.is_glitch)
    forks = sorted((*story.answer.forks, *glitches), key=lambda fork: fork.update)
    seen = list(_lost(forks, story.proved | story.agreed, story.proved | story.agreed))
    named = {fork.update: outputs for fork, outputs in seen}
    doubted = (
        (fork, outputs & ~named.get(fork.update, 0))
        for fork, outputs in _lost(story.doubts, story.proved, story.proved | ~story.agreed)
    )
    return tuple(starmap(race, seen)), tuple(race(fork, outputs) for fork, outputs in doubted if outputs)


def _lost(
    forks: Sequence[OpenUpdate], held: NDArray[np.uint8], kept: NDArray[np.uint8]
) -> Iterator[tuple[OpenUpdate, int]]:
    """The forks before which a bit of an output was in `held` and after which, before the next, it is not in `kept`."""
    ends = [*(fork.update for fork in forks[1:]), len(held) - 1]
    for fork, end in zip(forks, ends, strict=False):
        lost = int(held[fork.update]) & ~int(np.bitwise_and.reduce(kept[fork.update + 1 : end + 1]))
        if lost:
            yield fork, lost


def _facts(
    plan: Timeline, datasheet: Datasheet, procedure: Procedure, slot: int, seats: Mapping[int, Seat]
) -> dict[str, str | int]:
    board = plan.board
    facts: dict[str, str | int] = {
        "design": datasheet.name,
        "slot": slot,
        "procedure": procedure.name,
        "netlist_sha256": _hash(str(seats[slot].netlist)),
        "board_sha256": board_hash(board),
        "procedure_sha256": procedure_hash(procedure),
        "latency_ticks": plan.latency * board.frame_ticks,
    }
    if datasheet.step is not None:
        facts["step_line"] = datasheet.step.line
    others = {number: seat for number, seat in seats.items() if number != slot}
    return facts | {f"netlist_sha256_slot_{n}": _hash(str(seat.netlist)) for n, seat in others.items()}


def board_hash(board: Board) -> str:
    """Of everything in a profile that can change a prediction; labels and the roster are left out."""
    parts = {f.name: getattr(board, f.name) for f in fields(board) if f.name not in _LABELS}
    return _hash("\n".join(f"{name} {_plain(value)}" for name, value in sorted(parts.items())))


def procedure_hash(procedure: Procedure) -> str:
    """Of the actions as they are written."""
    return _hash("\n".join(map(to_text, procedure.actions)))


def _plain(value: Any) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{key}={value[key]}" for key in sorted(value))
    return str(value)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _home(board: Board, datasheet: Datasheet, selected: list[int]) -> int:
    """Where the board has the design; else the first slot that is selected."""
    homes = [number for number, entry in board.slots.items() if entry == datasheet.name]
    for number in (*selected, *homes):
        if number in homes:
            return number
    return selected[0] if selected else 0
