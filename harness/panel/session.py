"""A bench in the hands of one person: what is said becomes actions, answers and a list that can be saved."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from forelight.designs.datasheet import INPUT_LINES, Datasheet
from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.contention import CAUTION
from forelight.designs.procedures.instruction import Wording, instruction
from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Drive,
    LetGo,
    Play,
    Press,
    Release,
    Set,
    Strap,
    load_toml,
    to_text,
)
from forelight.designs.procedures.text import FORMS, VERBS, parse_one
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.frozen import frozen

from ..attach.report import Report, reports_now
from ..bench.live import LiveBench
from ..bench.reasons import Reasons
from ..boards.profile import Board
from ..golden.golden import Golden
from ..hand.routine import divides
from ..view.pictures import since
from ..view.words import seconds
from .keeping import kept_list, put_aside, write_list
from .meaning import Composed, meant, said_as, spelled_out
from .pace import SPEEDS, Pace
from .reading import LineNow, lines_now, shown_on_display, status_of
from .window import kept

#: What stands beside the actions: how it is written, and what it does.
OTHERS = {
    "look": "say how the bench stands",
    "lines": "say how each line of the chip stands, and who drives it",
    "parts": "say what is wired to the lines, and what it received, shows or measures",
    "go, go 0.1, go fast": "let time pass as it does in the room, slower or faster, or as fast as it goes",
    "stand": "hold time: it passes only in wait, steps and the like",
    "undo": "take the last action back",
    "list": "list what was done",
    "edit 3 set i0=1": "do everything again, with this as number 3",
    "drop 3": "do everything again, without number 3",
    "replay": "do everything again from the beginning",
    "save FILE": "write the list as a procedure, which every command reads with --procedure",
    "why o3, why o3 step 12": "say why an output has its level, or had it: by which inputs, registers and source lines",
    "cautions": "say what to mind at a bench",
    "help": "list what can be said",
    "quit": "leave",
}
CAUTIONS = (
    "The board's own documents come first, then local rules and licensed practice.",
    f"Drive a line from outside only while its switch is open: {CAUTION.partition(':')[0]}. Put about 1 kOhm in "
    "series, and keep to the board's own logic voltage.",
    "No pin drives a loudspeaker or a line input directly; start any sound at low volume.",
    "Light that flashes 3 to 30 times a second can trigger seizures, for some people up to 60 times.",
    "Touch something earthed before you touch the chip: static electricity destroys it unseen.",
)
_STATIC = "At a real bench touch something earthed first: static electricity destroys chips unseen."


@frozen
class Told:
    """What came of one thing that was said: the lines of an answer, and what was done or refused.

    `brief` is the answer for who sees the bench beside it.
    """

    text: str
    lines: tuple[str, ...] = ()
    brief: tuple[str, ...] = ()
    action: Action | None = None
    refused: str = ""
    taken_back: Action | None = None


class Session:
    """A live bench with `added` actions that brought the slot up, and those of the person after them.

    After each action the list is written to `kept`, so that nothing is lost. `hears` are told of everything that is
    said.
    """

    def __init__(
        self, board: Board, sheet: Datasheet, slot: int, before: Sequence[Action], *, keep: bool = True
    ) -> None:
        self.board, self.sheet, self.slot = board, sheet, slot
        self.before = tuple(before)
        self.kept = kept_list(self.kept_as) if keep else None
        self.hears: list[Callable[[Told], None]] = []
        self.ended = self._kept_before = False
        self._trouble = ""
        self._cautioned: set[str] = set()
        self.bench = self.make_bench()
        self.pace = Pace(self.bench)
        self.begin_anew()

    def make_bench(self) -> LiveBench:
        """The bench of this session, before anything was done at it."""
        return LiveBench(self.board, self.sheet, slot=self.slot)

    @property
    def kept_as(self) -> str:
        """The name under which the list is kept."""
        return f"panel-{self.sheet.name}"

    @property
    def begun_with(self) -> tuple[Action, ...]:
        """Of the actions before those of the person what is no part of bringing the slot up."""
        return ()

    @property
    def blind(self) -> bool:
        """Whether inputs are shown as their switches stand, and not as they reach the chip."""
        return False

    def opening(self) -> tuple[str, ...]:
        """What is said first."""
        said = (self.sheet.description,) if self.sheet.description else ()
        return (
            said
            if self.sheet.restart is None
            else (*said, "Restart it first: until then it is as the power left it.")
        )

    def about(self) -> tuple[str, ...]:
        """What there is to know while there is room for it: the design, its runs, what keys do."""
        runs = tuple(f"{run.name}: {run.expect}." for run in self.sheet.runs if run.expect)
        return (*self.opening(), *(("What its author expects of it. " + " ".join(runs),) if runs else ()))

    def noticed(self) -> tuple[str, ...]:
        """What there is to say of what time alone has brought."""
        return ()

    def beside(self) -> tuple[str, ...]:
        """What is to stand beside the bench."""
        return ()

    @property
    def actions(self) -> tuple[Action, ...]:
        """What the person has done."""
        return tuple(self.bench.actions[len(self.before) :])

    @property
    def wording(self) -> Wording:
        own = {
            role
            for role, line in (("step", self.board.step_line), ("restart", self.board.restart_line))
            if line == "own"
        }
        return Wording(
            self.bench.selected,
            self.board.buttons,
            strapped=self.board.strapped,
            pins=self.board.pins,
            pulls=self.board.pulls,
            own=frozenset(own),
        )

    def say(self, text: str) -> Told:
        """Do what a text says. Whatever goes wrong is in the answer."""
        told = self._say(" ".join(text.split()))
        for hear in self.hears:
            hear(told)
        return told

    def do(self, action: Action) -> Told:
        """Carry out an action that was pressed or clicked."""
        return self.say(to_text(action))

    def open(self, path: Path) -> Told:
        """Carry out the procedure in a file after what was done so far, as every command does; its recordings too."""
        procedure = load_toml(path)
        said = f"open {path}"
        for action in procedure.actions:
            try:
                self.bench.do(
                    meant(action, self.bench, procedure.folder) if isinstance(action, Play) else action
                )
            except ForelightError as error:
                self.keep()
                return Told(said, (f"Refused: {error}",), action=action, refused=str(error))
        self.keep()
        return Told(said, (f"Carried out {path}: {len(self.actions)} actions.",))

    def written(self) -> tuple[Action, ...]:
        """The list as every command reads it: they bring the slot up as it was here, and then do what was done."""
        actions = (*self.begun_with, *spelled_out(self.actions))
        straps = tuple(action for action in self.before if isinstance(action, Strap))
        clocked = clocked_at_start(actions)
        if straps and not clocked:
            return (*straps[:1], *actions)
        if clocked and not straps and divides(self.board, self.sheet):
            return (Disable(), *actions)
        return actions

    # What can be said

    def _say(self, text: str) -> Told:
        verb, _, rest = text.partition(" ")
        alone: dict[str, Callable[[], tuple[str, ...]]] = {
            "": self.look,
            "look": self.look,
            "lines": self.lines,
            "parts": self._parts,
            "list": self.listed,
            "replay": self._replay,
            "help": self._help,
            "cautions": lambda: CAUTIONS,
            "go": lambda: self._go(""),
            "stand": self._stand,
            "quit": self._quit,
        }
        followed = {
            "go": self._go,
            "save": self._save,
            "why": self.why,
            "edit": self._edit,
            "drop": self._drop,
        }
        try:
            if verb in alone and not rest:
                return Told(text, alone[verb]())
            if verb in followed:
                return Told(text, followed[verb](rest))
            return self._undo(text) if text == "undo" else self._act(text)
        except ForelightError as error:
            return Told(text, (str(error),), refused=str(error))

    def _act(self, text: str) -> Told:
        action = self._read(text)
        wording = self.wording
        try:
            self.bench.do(meant(action, self.bench))
        except ForelightError as error:
            return Told(text, (f"Refused: {error}",), action=action, refused=str(error))
        self.keep()
        brief = (instruction(action, wording), *self._cautions(action), *self.troubles())
        return Told(text, (*brief, *self.look()), brief, action)

    def words(self) -> set[str]:
        """All that can begin what is said."""
        return {*VERBS, *(re.split("[ ,]", word)[0] for word in OTHERS)}

    def _read(self, text: str) -> Action:
        """The action in a text. Raises a UsageError that says how it is written, or what else can be said."""
        try:
            return parse_one(text, "")
        except ForelightError as error:
            remedy = error.remedy
            if text.split("(", maxsplit=1)[0].split(maxsplit=1)[0].lower() not in VERBS:
                near, _, _ = (remedy or "").partition(" the actions are")
                known = ", ".join(sorted(self.words()))
                remedy = f"{near} you can say {known}" if near.endswith("?") else f"you can say {known}"
            raise UsageError(error.what, remedy=remedy) from None

    def _undo(self, text: str) -> Told:
        if not self.actions:
            return Told(text, ("There is nothing to take back: the slot has only been brought up.",))
        action = self.bench.undo()
        assert action is not None
        self.keep()
        brief = (f"Taken back: {said_as(action)}.",)
        return Told(text, (*brief, *self.look()), brief, taken_back=action)

    def _replay(self) -> tuple[str, ...]:
        self._redo(self.actions)
        return (f"Done again: {len(self.actions)} actions.", *self.look())

    def _redo(self, actions: Sequence[Action]) -> None:
        """Do these instead of what was done; where one is refused, what was done stays."""
        before = self.actions
        self.begin_anew()
        try:
            for action in actions:
                self.bench.do(meant(action.said, self.bench) if isinstance(action, Composed) else action)
        except ForelightError:
            self.begin_anew()
            for action in before:
                self.bench.do(action)
            raise
        self.keep()

    def _numbered(self, text: str) -> int:
        number = int(text) if text.isascii() and text.isdecimal() and len(text) < 7 else 0
        if not 1 <= number <= len(self.actions):
            raise UsageError(
                f"there is no action {text or 'without a number'}", remedy="`list` says their numbers"
            )
        return number - 1

    def _edit(self, text: str) -> tuple[str, ...]:
        number, _, said = text.partition(" ")
        at = self._numbered(number)
        actions, action = list(self.actions), self._read(said)
        actions[at] = Composed(1, (action,), action)  # what it comes to is seen when its turn comes
        self._redo(actions)
        return (f"Done again, with {to_text(action)} as number {at + 1}.", *self.look())

    def _drop(self, text: str) -> tuple[str, ...]:
        at = self._numbered(text)
        actions = list(self.actions)
        dropped = actions.pop(at)
        self._redo(actions)
        return (f"Done again, without {said_as(dropped)}.", *self.look())

    def begin_anew(self) -> None:
        """Take everything back, and bring the slot up."""
        while self.bench.undo():
            pass
        for action in self.before:
            self.bench.do(action)

    def _go(self, text: str) -> tuple[str, ...]:
        speeds: dict[str, float | None] = {"fast" if one is None else f"{one:g}": one for one in SPEEDS}
        if text and text not in speeds:
            raise UsageError(f"go {text}: no such speed", remedy=f"write go, or go and {', '.join(speeds)}")
        self.pace.choose(speeds[text or "1"])
        self.pace.go(going=True)
        return (f"Time passes, {self.pace}. Say stand to hold it.",)

    def _stand(self) -> tuple[str, ...]:
        self.pace.go(going=False)
        return ("Time stands.", *self.look())

    def _save(self, name: str) -> tuple[str, ...]:
        if not name:
            raise UsageError("save where?", remedy="write save FILE")
        path = Path(name).with_suffix(".toml")
        write_list(path, path.stem, self.written())
        return (f"Wrote {path}; open it with --procedure {path} in any command.",)

    def keep(self) -> None:
        """Write the list to where it is kept; what was kept there by another evening is put aside first."""
        if self.kept is not None:
            try:
                if not self._kept_before:
                    put_aside(self.kept)
                    self._kept_before = True
                write_list(self.kept, self.kept.stem, self.written())
            except UsageError as error:  # the bench goes on
                self.kept, self._trouble = None, f"What you do is not kept any more: {error}."

    def troubles(self) -> tuple[str, ...]:
        """What went wrong on the way, said once."""
        found, self._trouble = self._trouble, ""
        return (found,) if found else ()

    def _help(self) -> tuple[str, ...]:
        return help_lines()

    def _quit(self) -> tuple[str, ...]:
        self.ended = True
        if self.kept is None or not self.actions:
            return ()
        return (f"What you did is kept in {self.kept}; open it with --procedure.",)

    # What there is to see

    def look(self) -> tuple[str, ...]:
        """Time and step, the display, the outputs, and the status line."""
        with self.bench.answered():
            golden = self.bench.stepped(self.bench.record())
            bits = "".join(_level(line.level) for line in reversed(lines_now(self.bench, golden)[8:]))
            sheet = self.bench.selected
            step = f", step {int(golden.steps[-1])}" if sheet and sheet.step else ""
            now = f"{seconds(self.bench.now / golden.oscillator_hz)}{step}."
            shows = f"Display: {shown_on_display(self.bench, golden)}. Outputs o7 to o0: {bits}."
            return (f"{now} {shows}", " ".join(self.status(golden)))

    def status(self, golden: Golden | None = None, at: int | None = None) -> list[str]:
        """The status line, now or at an earlier tick."""
        return status_of(self.bench, golden or self.bench.record(), at)

    def now(self, golden: Golden) -> list[LineNow]:
        """Each line of the chip, as the end of a golden has it."""
        return lines_now(self.bench, golden, blind=self.blind)

    def lines(self) -> tuple[str, ...]:
        """Each line of the chip in a row of its own."""
        with self.bench.answered():
            found = self.now(self.bench.record())
        wide = max(len(line.label) for line in found)
        return tuple(
            f"{line.label:<{wide}}  {line.name}  {_level(line.level)}  {line.source:<14}  {line.means}".rstrip()
            for line in found
        )

    def attached(self) -> Callable[[], list[Report]]:
        """A reading of what is wired to the lines of the selected design, for any thread; nothing may be done before.

        What is read stays as it is, whatever becomes of the bench.
        """
        bench, sheet = self.bench, self.bench.selected
        golden = bench.record()
        if sheet is None or not sheet.attach or not len(golden.ticks):
            return list
        here = golden if bench.standing.slot == bench.slot else since(golden, bench.turned)
        return partial(reports_now, sheet, kept(here))

    def _parts(self) -> tuple[str, ...]:
        with self.bench.answered():
            found = self.attached()()
        return tuple(line for one in found for line in (one.heading, *one.lines)) or (
            "Nothing is wired to the lines.",
        )

    def listed(self) -> tuple[str, ...]:
        """What was done, with numbers."""
        if not self.actions:
            return ("Nothing yet but bringing the slot up.",)
        return tuple(f"{number}. {said_as(action)}" for number, action in enumerate(self.actions, 1))

    def why(self, text: str) -> tuple[str, ...]:
        """Why an output, or a signal of the source, has its level now or had it at the end of a step."""
        words = text.replace(" step ", " ").split()
        if not words or len(words) > 2 or not (words[1:] or ["0"])[0].isdecimal():
            raise UsageError(f"why {text}: of what?", remedy="write why o3, or why o3 step 12")
        inside = self.bench.inside()
        if inside is None:
            what = "a loop in the design runs free" if self.bench.loops else "the selected slot is empty"
            raise UsageError(f"{what}, so there is no cause to name", remedy="undo, or select another slot")
        found = Reasons(inside, inside.seat.datasheet, self.board)
        step = int(words[1]) if words[1:] else None
        return tuple(found.paragraphs(found.why(words[0], step)))

    def _cautions(self, action: Action) -> list[str]:
        """What to mind at a real bench, at the moment at which it matters, each once."""
        found = []
        if isinstance(action, Drive) and "drive" not in self._cautioned:
            found.append(f"Caution: {CAUTIONS[1]} {CAUTIONS[0]}")
            self._cautioned.add("drive")
        if not self._cautioned & {"static"}:
            found.append(f"Caution: {_STATIC}")
            self._cautioned.add("static")
        speakers = [one for one in self.sheet.attach if one.kind == "speaker"]
        if speakers and "sound" not in self._cautioned:
            found.append(f"Caution: {CAUTIONS[2]}")
            self._cautioned.add("sound")
        return found


def toggled(session: Session, line: str) -> Action:
    """The action that moves the switch of an input line to its other level."""
    return Set({line: 1 - session.bench.situation.switches[line]})


def pressed(session: Session, line: str, *, bouncing: bool = False) -> Action:
    """Hold the button of a line, or let go of it."""
    held = line in session.bench.situation.held
    return Release(line, bouncing) if held else Press(line, bouncing)


def linked(session: Session, line: str) -> Action:
    """The next of: driven to 1 from outside, driven to 0, let go."""
    stands = session.bench.standing
    bit = INPUT_LINES.index(line)
    if not stands.driven >> bit & 1:
        return Drive({line: 1})
    return Drive({line: 0}) if stands.outside >> bit & 1 else LetGo((line,))


def help_lines() -> tuple[str, ...]:
    """What can be said, actions first."""
    forms = [form for form, *_ in FORMS.values()]
    return (
        "Actions: " + "; ".join(forms) + "; play FILE; repeat 3 (press i0; wait 1 s; release i0).",
        *(f"{word}: {meaning}" for word, meaning in OTHERS.items()),
    )


def completions(session: Session, text: str) -> list[str]:
    """How what was typed so far may go on, the likeliest first."""
    verb, space, rest = text.partition(" ")
    if not space:
        return sorted(word for word in session.words() if word.startswith(verb) and word != verb)
    board, done, part = session.board, rest.rpartition(" ")[0], rest.rpartition(" ")[2]
    begun = f"{verb} {done} " if done else f"{verb} "
    choices: Sequence[str] = ()
    if verb in ("set", "drive"):
        choices = [f"{line}={level}" for line in INPUT_LINES for level in (1, 0)]
    elif verb in ("press", "release"):
        choices = sorted(board.buttons) if not done else ["bouncing"]
    elif verb == "let":
        choices = ["go", *INPUT_LINES]
    elif verb == "oscillator":
        choices = ["on", "off"]
    elif verb == "why":
        choices = [f"o{bit}" for bit in range(8)]
    elif verb == "select":
        choices = [str(slot) for slot in sorted(board.slots)]
    elif verb == "wait":
        choices = ["1 s", "100 ms", "5 ms"]
    return [begun + choice for choice in choices if choice.startswith(part) and choice != part]


def _level(level: int | None) -> str:
    return "?" if level is None else str(level)
