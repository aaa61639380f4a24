"""Whether the goal of a task was reached, judged from the list of actions alone by a run in one go."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Action, Press, Procedure, Release, to_text
from forelight.harness.attach.terminal import receive
from forelight.harness.attach.wiring import wired
from forelight.harness.bench.bench import Shown, run
from forelight.harness.bench.course import Seat, seated
from forelight.harness.bench.powerups import sampled_power_ups
from forelight.harness.boards.profile import Board
from forelight.harness.boards.roster import find
from forelight.harness.capture.eye import as_levels
from forelight.harness.golden.golden import Golden
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.timeline import timeline
from forelight.harness.panel.lessons.reader import Lesson
from forelight.harness.view.eye import impressions
from forelight.harness.view.pictures import since
from forelight.sim.netlist import Netlist, Word

#: As many as the panel follows.
POWER_UPS = 64


@dataclass(frozen=True)
class LessonFacts:
    """What a run in one go says after a list of actions, of which those in `task` belong to the task."""

    board: Board
    sheet: Datasheet
    shown: Shown
    hand: Hand
    golden: Golden
    healthy: Golden
    steps: int
    begun: int
    task: Sequence[Action]
    notes: Sequence[tuple[int, str]]
    blamed: str

    def level(self, line: str) -> int | None:
        bit = int(line[1])
        if line[0] == "i":
            return int(self.golden.inputs[-1]) >> bit & 1
        known = int(self.golden.settled[-1]) >> bit & 1
        return int(self.golden.outputs[-1]) >> bit & 1 if known else None

    def switch(self, line: str) -> int:
        return self.hand.standing.switches >> int(line[1]) & 1


def shows(facts: LessonFacts, wanted: str) -> bool:
    levels = as_levels(wanted, facts.board.display, True, "")
    pairs = zip(reversed(OUTPUT_LINES), levels, strict=True)
    return all(want in ("X", str(facts.level(line))) for line, want in pairs)


def rate(facts: LessonFacts, wanted: list[float]) -> bool:
    stands = facts.hand.standing
    hz = float(facts.board.frame_hz / (2 * stands.half)) if stands.enable else 0.0
    return wanted[0] <= hz <= wanted[1]


def contact(facts: LessonFacts, wanted: Mapping[str, str]) -> bool:
    pulls = facts.board.pulls
    return all(
        (facts.switch(line) != pulls.get(line, 0)) == (want == "closed") for line, want in wanted.items()
    )


def restart(facts: LessonFacts, wanted: str) -> bool:
    role = facts.sheet.restart
    assert role is not None
    line = 9 if facts.board.restart_line == "own" else int(role.line[1])
    held = facts.hand.standing.levels >> line & 1 == int(role.active == "high")
    return held == (wanted == "held")


def bounced(facts: LessonFacts, wanted: str) -> bool:
    moves = [one for one in facts.task if isinstance(one, (Press, Release)) and one.line == wanted]
    return any(one.bouncing for one in moves)


def pressed(facts: LessonFacts, wanted: str) -> bool:
    return any(isinstance(one, Release) and one.line == wanted for one in facts.task)


def eye(facts: LessonFacts, wanted: str) -> bool:
    golden = facts.golden
    last = since(golden, golden.end - 2 * golden.oscillator_hz)
    return impressions(last, [int(line[1]) for line in facts.board.display]).display.kind == wanted


def sends(facts: LessonFacts, wanted: str) -> bool:
    lines = next(one.lines for one in facts.sheet.attach if one.kind == "serial terminal")
    golden = facts.golden
    return wanted in receive(wired(since(golden, facts.begun), lines), golden.oscillator_hz, 300).text


def verdict(facts: LessonFacts, wanted: str) -> bool:
    """Against a run without anything planted: it agrees if at least six entries are all as foretold."""
    golden, agrees = facts.healthy, True
    for step, said in facts.notes:
        row = int(np.searchsorted(golden.steps, step, side="right")) - 1
        seen = said if len(said) == 8 else as_levels(said, facts.board.display, "." in said, "")
        for line, want in zip(reversed(OUTPUT_LINES), seen, strict=True):
            bit = int(line[1:])
            known = want != "X" and int(golden.settled[row]) >> bit & 1
            agrees &= not known or int(golden.outputs[row]) >> bit & 1 == int(want)
    if wanted == "agrees":
        return agrees and len(facts.notes) >= 6
    return bool(facts.notes) and not agrees


def levels(facts: LessonFacts, wanted: Mapping[str, int]) -> bool:
    return all(facts.level(line) == want for line, want in wanted.items())


def lit(facts: LessonFacts, wanted: str) -> bool:
    wiring = facts.board.display
    return {segment for line, segment in wiring.items() if facts.level(line)} == set(wanted.split())


def outside(facts: LessonFacts, wanted: str) -> bool:
    return facts.hand.standing.driven == sum(1 << int(line[1]) for line in wanted.split())


RULES: Mapping[str, Callable[[LessonFacts, Any], bool]] = {
    "shows": shows,
    "lit": lit,
    "slot": lambda facts, wanted: facts.hand.standing.slot == wanted,
    "settled": lambda facts, wanted: (int(facts.golden.settled[-1]) == 0xFF) is wanted,
    "clock": lambda facts, wanted: facts.hand.standing.enable is (wanted == "on"),
    "hz": rate,
    "switches": lambda facts, wanted: all(facts.switch(line) == want for line, want in wanted.items()),
    "inputs": levels,
    "outputs": levels,
    "contact": contact,
    "outside": outside,
    "restart": restart,
    "steps": lambda facts, wanted: facts.steps == wanted,
    "steps_least": lambda facts, wanted: facts.steps >= wanted,
    "did": lambda facts, wanted: wanted in map(to_text, facts.task),
    "bounced": bounced,
    "missed": pressed,
    "seen": pressed,
    "notes": lambda facts, wanted: len(facts.notes) >= wanted,
    "verdict": verdict,
    "blamed": lambda facts, wanted: facts.blamed == wanted,
    "eye": eye,
    "sends": sends,
}


class LessonJudge:
    """One lesson; what sits in its slots is read once."""

    def __init__(self, lesson: Lesson, board: Board, slot: int) -> None:
        self.lesson, self.board, self.slot = lesson, board, slot
        self.sheet = find(board, str(slot)).datasheet
        healthy = seated(board, self.sheet)
        self.healthy = {slot: healthy}
        self.seats = {slot: Seat(self.sheet, _stuck(healthy.netlist, lesson.stuck), healthy.memories)}

    def reached(
        self,
        until: Mapping[str, Any],
        actions: Sequence[Action],
        begun: int,
        notes: Sequence[tuple[int, str]],
        blamed: str,
    ) -> list[str]:
        """The checks that do not hold after `actions`, of which the first `begun` came before the task."""
        contacts = 0xFF
        if self.lesson.open_switch:
            contacts &= ~(1 << int(self.lesson.open_switch[1]))
        shown, golden = self._run(actions, contacts, self.seats)
        before, _ = self._run(actions[:begun], contacts, self.seats)
        _, healthy = self._run(actions, 0xFF, self.healthy)
        hand, earlier = (Hand(self.board, self.sheet, self.slot, contacts) for _ in range(2))
        hand.do(actions)
        earlier.do(actions[:begun])
        facts = LessonFacts(
            self.board,
            self.sheet,
            shown,
            hand,
            golden,
            healthy,
            int(shown.steps[-1]) - int(before.steps[-1]),
            earlier.now,
            actions[begun:],
            notes,
            blamed,
        )
        return [name for name, wanted in until.items() if not RULES[name](facts, wanted)]

    def _run(self, actions: Sequence[Action], contacts: int, seats: dict[int, Seat]) -> tuple[Shown, Golden]:
        procedure = Procedure("played", tuple(actions))
        plan = timeline(self.board, self.sheet, procedure, slot=self.slot, contacts=contacts)
        for other in (set(plan.slots.tolist()) & set(self.board.slots)) - set(seats):
            seats[other] = seated(self.board, find(self.board, str(other)).datasheet)
        shown = run(plan, seats, self.slot, lambda: sampled_power_ups(POWER_UPS, 0), 0)
        ticks = plan.ticks(shown.frames)
        ticks[shown.frames < 0] = 0
        end = int(plan.start_ticks(np.array([plan.end]))[0])
        columns = shown.steps, shown.inputs, shown.outputs, shown.proved, shown.sampled
        return shown, Golden(self.board.name, self.board.oscillator_hz, ticks, *columns, end)


def _stuck(netlist: Netlist, stuck: Mapping[str, int]) -> Netlist:
    bits, whole = netlist.outputs["outputs"].bits(), Word()
    for bit in range(8):
        whole = whole + (Word.const(stuck[f"o{bit}"], 1) if f"o{bit}" in stuck else bits[bit])
    return replace(netlist, outputs={**netlist.outputs, "outputs": whole})
