"""What a lesson can wait for: each check looks at the bench, and says in a sentence what is still missing.

A check is given a `BenchLook` at the bench and what the lesson wants; it answers None once that holds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.designs.procedures.procedure import Action, to_text
from forelight.sim.frozen import frozen

from ...attach.report import reports
from ...bench.live import LiveBench
from ...bench.watch import Watch
from ...chip.routing import restart_input, routing
from ...golden.golden import Golden
from ...hand.switches import contact_of
from ...view.eye import impressions
from ...view.pictures import since
from ...view.status import Touch
from ...view.words import hertz
from ..reading import shown_on_display

#: Over how long the eye looks for a check.
EYE_S = 2.0


@frozen
class BenchLook:
    """The bench at one moment of a task: `golden` is the record with the answer to the last action.

    `actions` are those since the task began, at `begun_s`, when `begun_steps` steps had been made. `notes`, `verdict`
    and `blamed` are what the person wrote down, what came of it, and what was named as the cause.
    """

    bench: LiveBench
    golden: Golden
    actions: tuple[Action, ...]
    begun_s: float
    begun_steps: int
    notes: int = 0
    verdict: str = ""
    blamed: str = ""

    @property
    def steps(self) -> int:
        """Steps since the task began."""
        return int(self.golden.steps[-1]) - self.begun_steps

    @property
    def shown(self) -> str:
        """What the display shows: a character, with a point behind it if that is lit; `blank`; else words."""
        said = shown_on_display(self.bench, self.golden)
        return {"dark": "blank", "only the point": "blank."}.get(said, said.replace(" and the point", "."))

    def level(self, line: str) -> int | None:
        """The level of a line at the design, None for an output that is unsettled."""
        bit = int(line[1:])
        if line[0] == "i":
            return int(self.golden.inputs[-1]) >> bit & 1
        settled = int(self.golden.settled[-1]) >> bit & 1
        return int(self.golden.outputs[-1]) >> bit & 1 if settled else None

    @property
    def restart_held(self) -> bool:
        """Whether the restart line is at its active level."""
        bench, index = self.bench, restart_input(self.bench.datasheet)
        role = bench.datasheet.restart
        if index is None or role is None:
            return False
        level = bench.standing.levels >> routing(bench.board, bench.datasheet)[index] & 1
        return level == int(role.active == "high")

    @cached_property
    def touches(self) -> tuple[Touch, ...]:
        """What became of the presses since the task began."""
        inside = self.bench.inside()
        if inside is None:
            return ()
        return tuple(one for one in Watch(inside, self.golden).touches if one.end_s > self.begun_s)


Check = Callable[[BenchLook, Any], str | None]


def _shows(look: BenchLook, wanted: str) -> str | None:
    if look.shown == wanted:
        return None
    return f"the display is to show {_spoken(wanted)}: {_spoken(look.shown)} now"


def _spoken(shown: str) -> str:
    if len(shown) == 2 and shown[1] == ".":
        return f"{shown[0]} with the point"
    return {"blank": "nothing", "blank.": "the point alone"}.get(shown, shown)


def _lit(look: BenchLook, wanted: str) -> str | None:
    wiring = look.bench.board.display
    lit = {segment for line, segment in wiring.items() if look.level(line)}
    if lit == set(wanted.split()):
        return None
    return f"the segments {wanted} are to be lit: {' '.join(sorted(lit)) or 'none'} now"


def _slot(look: BenchLook, wanted: int) -> str | None:
    slot = look.bench.standing.slot
    return None if slot == wanted else f"the selector is to stand on slot {wanted}: on {slot} now"


def _settled(look: BenchLook, wanted: bool) -> str | None:
    vague = [line for line in OUTPUT_LINES if look.level(line) is None]
    if wanted:
        return f"every output is to be settled: {', '.join(vague)} cannot be foretold now" if vague else None
    return None if vague else "some output is to be unsettled: all are settled now"


def _clock(look: BenchLook, wanted: str) -> str | None:
    now = "on" if look.bench.standing.enable else "off"
    return None if now == wanted else f"the step clock is to be {wanted}: {now} now"


def _hz(look: BenchLook, wanted: list[float]) -> str | None:
    low, high = wanted
    stands = look.bench.standing
    rate = float(look.bench.board.frame_hz / (2 * stands.half)) if stands.enable else 0.0
    if low <= rate <= high:
        return None
    span = f"{hertz(low)} or faster" if high > 1e6 else f"between {hertz(low)} and {hertz(high)}"
    return f"the step clock is to run at {span}: {hertz(rate) if rate else 'off'} now"


def _eye(look: BenchLook, wanted: str) -> str | None:
    hz = look.golden.oscillator_hz
    begin = max(0, look.golden.end - int(EYE_S * hz))
    if (look.golden.end / hz) - look.begun_s < EYE_S:
        return f"look at it for {EYE_S:g} s"
    wired = [int(line[1:]) for line in look.bench.board.display]
    kind = impressions(since(look.golden, begin), wired).display.kind
    return None if kind == wanted else f"the display is to be {wanted} to the eye: {kind} now"


def _switches(look: BenchLook, wanted: Mapping[str, int]) -> str | None:
    stands = look.bench.standing.switches
    wrong = [line for line, level in wanted.items() if stands >> int(line[1:]) & 1 != level]
    said = ", ".join(f"{line} to {wanted[line]}" for line in wrong)
    return f"these switches still have to go: {said}" if wrong else None


def _inputs(look: BenchLook, wanted: Mapping[str, int]) -> str | None:
    wrong = [line for line, level in wanted.items() if look.level(line) != level]
    said = ", ".join(f"{line} is to be {wanted[line]}" for line in wrong)
    return f"at the design {said}" if wrong else None


def _outputs(look: BenchLook, wanted: Mapping[str, int]) -> str | None:
    wrong = [line for line, level in wanted.items() if look.level(line) != level]
    now = {line: "?" if look.level(line) is None else look.level(line) for line in wrong}
    said = ", ".join(f"{line} is to be {wanted[line]}, and is {now[line]}" for line in wrong)
    return said or None


def _contact(look: BenchLook, wanted: Mapping[str, str]) -> str | None:
    stands, board = look.bench.standing, look.bench.board
    now = {line: contact_of(board, line, stands.switches >> int(line[1:]) & 1) for line in wanted}
    wrong = [line for line, word in wanted.items() if now[line] != word]
    said = ", ".join(f"{line} is to be {wanted[line]}, and is {now[line]}" for line in wrong)
    return f"the switch of {said}" if wrong else None


def _outside(look: BenchLook, wanted: str) -> str | None:
    now = [line for bit, line in enumerate(INPUT_LINES) if look.bench.standing.driven >> bit & 1]
    if now == wanted.split():
        return None
    return f"{wanted or 'no line'} is to be driven from outside: {', '.join(now) or 'none'} now"


def _restart(look: BenchLook, wanted: str) -> str | None:
    now = "held" if look.restart_held else "free"
    return None if now == wanted else f"the restart is to be {wanted}: {now} now"


def _steps(look: BenchLook, wanted: int) -> str | None:
    if look.steps == wanted:
        return None
    return f"{wanted} step{'s are' if wanted > 1 else ' is'} to be made: {look.steps} so far"


def _steps_least(look: BenchLook, wanted: int) -> str | None:
    return None if look.steps >= wanted else f"{wanted} steps are to pass: {look.steps} so far"


def _bounced(look: BenchLook, wanted: str) -> str | None:
    if any(one.line == wanted and one.touches > 1 for one in look.touches):
        return None
    return f"a press of {wanted} is to bounce, and to come to rest: none has so far"


def _missed(look: BenchLook, wanted: str) -> str | None:
    if any(one.line == wanted and not one.seen for one in look.touches):
        return None
    seen = sum(one.line == wanted for one in look.touches)
    return f"a press of {wanted} is to pass between two steps: {seen} made, none missed so far"


def _seen(look: BenchLook, wanted: str) -> str | None:
    if any(one.line == wanted and one.seen for one in look.touches):
        return None
    return f"a press of {wanted} is to be seen by the design: none was so far"


def _sends(look: BenchLook, wanted: str) -> str | None:
    begin = int(look.begun_s * look.golden.oscillator_hz)
    text = "".join(str(one.facts.get("text", "")) for one in _received(look, begin))
    if wanted in text:
        return None
    last = text.strip().splitlines()[-1:] or ["nothing yet"]
    return f'the terminal is to receive "{wanted}": last came "{last[0]}"'


def _received(look: BenchLook, begin: int) -> list[Any]:
    return reports(look.bench.datasheet, since(look.golden, begin))


def _notes(look: BenchLook, wanted: int) -> str | None:
    return None if look.notes >= wanted else f"{wanted} notes are to be written: {look.notes} so far"


def _verdict(look: BenchLook, wanted: str) -> str | None:
    if look.verdict == wanted:
        return None
    return f"the verdict is to be: {wanted}. {look.verdict or 'None was asked for'} so far"


def _blamed(look: BenchLook, wanted: str) -> str | None:
    if look.blamed == wanted:
        return None
    return "say what is to blame, as in blame i3 or blame o3" + (
        f"; {look.blamed} is not it" if look.blamed else ""
    )


def _did(look: BenchLook, wanted: str) -> str | None:
    if wanted in map(to_text, look.actions):
        return None
    return f"{wanted} is to be done"


CHECKS: Mapping[str, Check] = {
    "shows": _shows,  # "3", "3." with the point, "blank", or segments as the panel says them
    "lit": _lit,  # "a d e f": these segments and no others
    "slot": _slot,
    "settled": _settled,  # true: all outputs; false: not all
    "clock": _clock,  # "on" or "off"
    "hz": _hz,  # [least, most] of the step clock
    "eye": _eye,  # steady, readable, flickering or blended, over the last two seconds
    "switches": _switches,  # { i0 = 1 }: as they stand
    "inputs": _inputs,  # { i0 = 1 }: as they reach the design
    "outputs": _outputs,  # { o0 = 1 }
    "contact": _contact,  # { i0 = "open" } or "closed"
    "outside": _outside,  # "i0 i1": the lines that are driven from outside, no others
    "restart": _restart,  # "held" or "free"
    "steps": _steps,  # so many since the task began
    "steps_least": _steps_least,
    "bounced": _bounced,  # a line: a press of its button touched several times
    "missed": _missed,  # a line: a press lay between two steps
    "seen": _seen,  # a line: a press that the design saw
    "sends": _sends,  # what the serial terminal received since the task began
    "notes": _notes,  # how many, since the task began
    "verdict": _verdict,  # "agrees" or "differs"
    "blamed": _blamed,  # the line that was named as the cause
    "did": _did,  # an action of the list
}


def missing(look: BenchLook, until: Mapping[str, object]) -> dict[str, str]:
    """Of the checks of a task those that do not hold yet, each with what is missing."""
    found = {name: CHECKS[name](look, wanted) for name, wanted in until.items()}
    return {name: said for name, said in found.items() if said is not None}
