"""A lesson being played: a session that says what to do, watches what is done, and answers it from the bench."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.designs.procedures.procedure import Action, Procedure, to_text
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.files import write_whole
from forelight.sim.netlist import Netlist, Word

from ...bench.course import Seat, seated
from ...bench.live import LiveBench
from ...bench.predict import predict
from ...boards.reader import load_board
from ...boards.roster import find
from ...capture.eye import as_levels
from ...capture.readers import parse_capture
from ...golden.golden import Golden
from ...hand.routine import bring_up
from ...verdict.verdict import check
from ..reading import lines_now
from ..session import Session, Told
from ..window import kept
from .checks import BenchLook, missing
from .reader import Lesson, LessonTask

#: What can be said in a lesson beside what can be said at any panel.
WORDS = {
    "task": "say again what to do",
    "hint": "say how",
    "again": "begin the task anew",
    "over": "begin the lesson anew",
    "note 3.": "write down what you see: a character, with a point behind it if that is lit; blank; or eight levels, "
    "o7 first",
    "notes, notes FILE": "read back what you wrote down, or write it to a file that forelight check reads",
    "verdict": "does what you wrote down agree with what is foretold? As forelight check says it",
    "foretold": "say what a bench without a fault would show now",
    "blame i3": "name what is to blame: an input whose switch makes no contact, an output that is stuck",
}
#: What the person wrote down is written as an eye writes it: the step at which it was seen, and what was seen.
_FEW_POWER_UPS = 16


class LessonSession(Session):
    """A bench with a lesson on it; `at` is the task that is to be done, `len(lesson.tasks)` once all are."""

    def __init__(self, lesson: Lesson, *, keep: bool = False) -> None:
        self.lesson, self.at = lesson, 0
        self.notes: list[tuple[int, str]] = []
        self.verdict = self.blamed = ""
        self.begun = (0, 0.0, 0, 0)  # actions, seconds, steps and notes when the task began
        board = load_board(lesson.board)
        found = find(board, lesson.design)
        slot = found.slot or 0
        before = (*bring_up(board, found.datasheet, slot=slot), *lesson.begin)
        super().__init__(board, found.datasheet, slot, before, keep=keep)
        self._begin_task()

    def make_bench(self) -> LiveBench:
        lesson = self.lesson
        contacts = 0xFF
        if lesson.open_switch is not None:
            contacts &= ~(1 << INPUT_LINES.index(lesson.open_switch))
        seat = seated(self.board, self.sheet)
        if lesson.stuck:
            seat = Seat(seat.datasheet, with_stuck_outputs(seat.netlist, lesson.stuck), seat.memories)
        return LiveBench(self.board, self.sheet, slot=self.slot, contacts=contacts, seat=seat)

    @property
    def kept_as(self) -> str:
        return f"lesson-{self.lesson.number}"

    @property
    def begun_with(self) -> tuple[Action, ...]:
        return self.lesson.begin

    @property
    def task(self) -> LessonTask | None:
        return self.lesson.tasks[self.at] if self.at < len(self.lesson.tasks) else None

    @property
    def blind(self) -> bool:
        return self.lesson.blind and self.task is not None

    def beside(self) -> tuple[str, ...]:
        """The lesson as it stands beside the bench."""
        lesson, task = self.lesson, self.task
        head = f"Lesson {lesson.number}: {lesson.title}"
        if task is None:
            return (head, "All done.")
        kind = "Question" if task.question else f"Task {self.at + 1} of {len(lesson.tasks)}"
        return head, f"{kind}: {task.do}"

    def about(self) -> tuple[str, ...]:
        """What the lesson is about, and why the task is to be done."""
        task = self.task
        why = () if task is None or task.question else (task.why,)
        return (self.lesson.about, *why, "Say hint when you do not know how, again to begin the task anew.")

    def noticed(self) -> tuple[str, ...]:
        """Whether the task is done by what time alone has brought."""
        if self.task is None or missing(self._look(), self.task.until):
            return ()
        lines = tuple(self._done())
        for hear in self.hears:
            hear(Told("", lines))
        return lines

    def opening(self) -> tuple[str, ...]:
        """What is said first."""
        lesson = self.lesson
        return (f"Lesson {lesson.number}: {lesson.title}. {lesson.about}", *self._announced())

    # What is said

    def _say(self, text: str) -> Told:
        before = self._look()
        told = self._lesson_word(text)
        if told is None:
            told = super()._say(text)
        if self.task is None or self.ended:
            return told
        remarks = tuple(self._remarks(told, before))
        brief = (*remarks, *told.brief[1:]) if remarks else told.brief
        if told.refused:
            brief = (told.refused, *remarks[-1:])
        elif remarks and told.action is None and told.taken_back is None:
            brief = (*told.lines, *remarks)
        return replace(told, lines=(*told.lines, *remarks), brief=brief)

    def _lesson_word(self, text: str) -> Told | None:
        """The answer to a word that only a lesson knows, or None."""
        verb, _, rest = text.partition(" ")
        alone = {
            "task": self._announced,
            "hint": self._hint,
            "again": self._again,
            "over": self._over,
            "notes": self._read_back,
            "verdict": self._judge,
            "foretold": self._foretold,
        }
        followed = {"note": self._note, "notes": self._write_notes, "blame": self._blame}
        try:
            if verb in alone and not rest:
                return Told(text, alone[verb]())
            return Told(text, followed[verb](rest)) if verb in followed else None
        except ForelightError as error:
            return Told(text, (str(error),), refused=str(error))

    def why(self, text: str) -> tuple[str, ...]:
        if self.blind:
            raise UsageError("no bench says why by itself", remedy="find it out: hint says how")
        return super().why(text)

    def _hint(self) -> tuple[str, ...]:
        return (self.task.hint if self.task else "All is done.",)

    def _read_back(self) -> tuple[str, ...]:
        rows = tuple(f"step {step}: {shown}" for step, shown in self.notes)
        return rows or ("You have written nothing down.",)

    def _write_notes(self, name: str) -> tuple[str, ...]:
        if not self.notes:
            raise UsageError("nothing was written down", remedy="say what you see, as in note 3")
        path = Path(name).with_suffix(".csv")
        write_whole(path, self.written_down())
        command = f"forelight check {self.slot} {path} --board {self.board.name}"
        return (f"Wrote {path}; {command}, with what you save as --procedure, gives its verdict.",)

    def words(self) -> set[str]:
        return super().words() | {re.split("[ ,]", word)[0] for word in WORDS}

    def _help(self) -> tuple[str, ...]:
        return (*super()._help(), *(f"{word}: {meaning}" for word, meaning in WORDS.items()))

    # How a move is answered

    def _remarks(self, told: Told, before: BenchLook) -> list[str]:
        """What a move brought, from the state of the bench; and whether the task is done by it."""
        task = self.task
        assert task is not None
        if told.refused:
            return [*_refusal(told), *self._still(self._look(), task)]
        now = self._look()
        left, was = missing(now, task.until), missing(before, task.until)
        if not left:
            return self._done()
        if told.action is None and told.taken_back is None and not self._answering(told.text):
            return []
        what = to_text(told.action) if told.action else told.text
        said = [f"{what}: {self._consequence(before, now)}"]
        if told.text.split()[0] in ("note", "verdict", "blame"):
            said = []  # which is answered already
        gained = [name for name in was if name not in left]
        lost = [left[name] for name in left if name not in was]
        if gained:
            said.append(
                f"That is a part of it: {len(task.until) - len(left)} of {len(task.until)} things hold."
            )
        if lost:
            said.append(f"That led away from the goal: {'; '.join(lost)}.")
        return [*([" ".join(said)] if said else []), *self._still(now, task)]

    def _consequence(self, before: BenchLook, now: BenchLook) -> str:
        """What a move changed, in words; where it changed nothing, why."""
        said = []
        if before.shown != now.shown:
            said.append(f"the display went from {_short(before.shown)} to {_short(now.shown)}")
        elif [before.level(line) for line in OUTPUT_LINES] != [now.level(line) for line in OUTPUT_LINES]:
            said.append("outputs moved that the display does not tell apart")
        moved = [line for line in INPUT_LINES if before.level(line) != now.level(line)]
        if moved and not self.blind:
            said.append(f"{', '.join(moved)} changed at the design")
        steps = int(now.golden.steps[-1]) - int(before.golden.steps[-1])
        if steps:
            count = "1 step was" if abs(steps) == 1 else f"{abs(steps)} steps were"
            said.append(f"{count} {'made' if steps > 0 else 'taken back'}")
        if not said:
            bench = now.bench
            if bench.standing.slot != bench.slot:
                slot = bench.standing.slot
                return (
                    f"the selector stands on slot {slot}, so nothing of it reaches {bench.datasheet.title}."
                )
            inputs = "" if self.blind else ", and no input of the design did"
            return f"nothing that can be seen changed: no output moved{inputs}."
        return f"{'; '.join(said)}."

    @staticmethod
    def _answering(text: str) -> bool:
        """Whether a word of the lesson, and not an action, is an answer to it."""
        return text.split()[:1] in (["note"], ["verdict"], ["blame"], ["edit"], ["drop"], ["replay"])

    def _still(self, now: BenchLook, task: LessonTask) -> list[str]:
        return [f"Still to come: {'; '.join(missing(now, task.until).values())}."]

    def _done(self) -> list[str]:
        self.at += 1
        if self.task is None:
            return [f"Done. That was lesson {self.lesson.number}: {self.lesson.title}."]
        self._begin_task()
        return ["Done.", *self._announced()]

    def _announced(self) -> tuple[str, ...]:
        task = self.task
        if task is None:
            return ("All is done. Say quit to leave.",)
        kind = "Question" if task.question else f"Task {self.at + 1} of {len(self.lesson.tasks)}"
        why = "" if task.question else f" {task.why}"
        return (f"{kind}: {task.do}{why}",)

    # The task

    def _begin_task(self) -> None:
        now = self.bench.now / self.board.oscillator_hz
        with self.bench.answered():
            record = self.bench.record()
            steps = int(record.steps[-1]) if len(record.steps) else 0
        self.begun = len(self.bench.actions), now, steps, len(self.notes)
        self.verdict = self.blamed = ""

    def _again(self) -> tuple[str, ...]:
        begun, _, _, notes = self.begun
        while len(self.bench.actions) > begun:
            self.bench.undo()
        del self.notes[notes:]
        self.verdict = self.blamed = ""
        return ("The task begins anew.", *self._announced())

    def _over(self) -> tuple[str, ...]:
        self.begin_anew()
        self.at, self.notes = 0, []
        self._begin_task()
        self.keep()
        return ("The lesson begins anew.", *self._announced())

    def _look(self) -> BenchLook:
        begun, seconds, steps, notes = self.begun
        with self.bench.answered():
            golden = kept(self.bench.record())
            touched = BenchLook(
                self.bench,
                golden,
                tuple(self.bench.actions[begun:]),
                seconds,
                steps,
                len(self.notes) - notes,
                self.verdict,
                self.blamed,
            )
            _ = touched.touches  # while the answer is there
        return touched

    # Writing down, and what it is worth

    def _note(self, shown: str) -> tuple[str, ...]:
        if not re.fullmatch("[01]{8}", shown):
            as_levels(shown, self.board.display, True, "note")  # refuses what seven segments do not show
        with self.bench.answered():
            step = int(self.bench.record().steps[-1])
        self.notes = [one for one in self.notes if one[0] != step] + [(step, shown)]
        return (f"Noted for step {step}: {shown}.",)

    def written_down(self) -> str:
        """The notes as the CSV that `forelight check` reads: characters, or eight levels where some are noted so."""
        if all(len(shown) < 8 for _, shown in self.notes):
            return "step,shown\n" + "".join(f"{step},{shown}\n" for step, shown in self.notes)
        pointed = any(shown.endswith(".") for _, shown in self.notes)
        levels = (
            (step, shown if len(shown) == 8 else as_levels(shown, self.board.display, pointed, "note"))
            for step, shown in self.notes
        )
        return "step,outputs\n" + "".join(f"{step},{shown}\n" for step, shown in levels)

    def healthy(self) -> Golden:
        """What a bench without a fault shows of all that was done."""
        played = Procedure("played", tuple(self.bench.actions))
        return predict(self.board, self.sheet, played, slot=self.slot, power_ups=_FEW_POWER_UPS)

    def _judge(self) -> tuple[str, ...]:
        """The verdict that `forelight check` gives on the notes as a list by eye."""
        if not self.notes:
            raise UsageError("nothing was written down", remedy="say what you see, as in note 3")
        step = self.sheet.step
        if step is None:
            raise UsageError(
                f"{self.sheet.name} has no steps, by which a list is compared",
                remedy="say foretold, and compare that with what you see",
            )
        capture = parse_capture(self.written_down().encode(), "your notes", display=self.board.display)
        found = check(self.healthy(), capture, self.board, step_line=step.line)
        self.verdict = found.kind
        compared = f"{len(self.notes)} notes and what is foretold"
        if found.bits:
            compared += f", {found.bits} bits in {found.steps} steps"
        return (f"{found.kind.capitalize()}: {compared}.", *found.reasons, *found.remedies)

    def _foretold(self) -> tuple[str, ...]:
        golden = self.healthy()
        bits = "".join(
            "?" if not int(golden.settled[-1]) >> bit & 1 else str(int(golden.outputs[-1]) >> bit & 1)
            for bit in range(7, -1, -1)
        )
        with self.bench.answered():
            here = self._bits()
        return (f"Without a fault o7 to o0 would be {bits}; here they are {here}.",)

    def _bits(self) -> str:
        found = lines_now(self.bench, self.bench.record())[8:]
        return "".join("?" if one.level is None else str(one.level) for one in reversed(found))

    def _blame(self, line: str) -> tuple[str, ...]:
        if line not in (*INPUT_LINES, *OUTPUT_LINES):
            raise UsageError(f"{line or 'nothing'} is no line", remedy="name one of i0 to i7 or o0 to o7")
        self.blamed = line
        if line == self.lesson.open_switch:
            return (
                f"Yes: the switch of {line} makes no contact. That is a slip: nothing is wrong with the chip.",
            )
        if line in self.lesson.stuck:
            return (f"Yes: {line} is stuck at {self.lesson.stuck[line]} in the chip, whatever you do.",)
        return (f"No: {line} does what it is told. Try it by itself, and compare with foretold.",)


def with_stuck_outputs(netlist: Netlist, stuck: Mapping[str, int]) -> Netlist:
    """The netlist with outputs of the port `outputs` at a level for good: line -> level."""
    bits = netlist.outputs["outputs"].bits()
    for line, level in stuck.items():
        bits[OUTPUT_LINES.index(line)] = Word.const(level, 1)
    whole = Word.of(part for bit in bits for part in bit.parts)
    return replace(netlist, outputs={**netlist.outputs, "outputs": whole})


def _refusal(told: Told) -> list[str]:
    what = to_text(told.action) if told.action else told.text
    return [f"{what}: nothing was done, and nothing has changed. Say hint if you do not know how."]


def _short(shown: str) -> str:
    return "what cannot be foretold" if shown.startswith("cannot") else shown
