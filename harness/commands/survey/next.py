"""`forelight survey next`: which slots to try next, in which order, and how to set the switches for each."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

from forelight.designs.datasheet import Datasheet
from forelight.sim.errors import ForelightError
from forelight.sim.files import write_whole
from forelight.sim.plain_text import clean
from rich.text import Text

from ...boards.profile import Board
from ...boards.reader import board_names
from ...boards.roster import find
from ...survey.findings import Findings, gathered
from ...survey.notebook import reading
from ...survey.plan import Candidate, Visit, Worth, plan, wanted
from ...survey.setup import Setup, Setups, Walk, moved, usual_run
from ...survey.standing import SlotStanding
from ...terminal.output import complain, emit_json, show
from ...verdict.kinds import WHICH_CAUSE
from ...view.words import hertz
from .places import board_of


def run(path: Path, board_name: str | None, most: int, folder: Path | None, as_json: bool) -> int:
    """Print the plan."""
    with reading(path) as notebook:
        board = board_of(notebook, board_name)
        chips = notebook.chips()
        found = gathered(notebook, board.name)[0] if board.name in chips else None
    planned = Planned(board, found, path, folder)
    visits = planned.visits(most)
    written = (
        [_write(folder, visit.task) for visit in visits if visit.task.worth.experiment] if folder else []
    )
    if as_json:
        emit_json(
            {
                "file": str(path),
                "board": board.name,
                "wanted": len(planned.tasks),
                "moves": sum(visit.moves for visit in visits),
                "bits": sum(visit.task.worth.bits for visit in visits),
                "tries": [planned.plain(visit) for visit in visits],
                "experiments": [str(file) for file in written],
            }
        )
    else:
        show(*planned.paragraphs(visits))
        for file in written:
            show(f"Wrote {file}.")
    for complaint in planned.unreadable:
        complain(f"forelight: {complaint}")
    return 0


class Planned:
    """What is still to be learned of a board."""

    def __init__(self, board: Board, found: Findings | None, path: Path, folder: Path | None) -> None:
        self.board, self.path, self.folder = board, path, folder
        self.sheets: dict[int, Datasheet] = {}
        self.unreadable: list[ForelightError] = []
        self._setups = Setups(board)
        known = found.by_slot if found else {}
        standings = [
            known.get(slot) or SlotStanding(slot, entry, "", "untried") for slot, entry in board.slots.items()
        ]
        self.tasks = wanted(standings, found.details if found else {}, self._setup)
        benched = [one for one in found.attempts if one.verdict is not None] if found else []
        last = benched[-1] if benched else None
        #: How the switches were left: as for the last try; all at 0 before the first.
        self.start = Setup(last.code, last.inputs) if last else Setup(None, 0)

    def _setup(self, one: SlotStanding, worth: Worth) -> Setup | None:
        assert one.slot is not None
        try:
            sheet = find(self.board, str(one.slot)).datasheet
            self.sheets[one.slot] = sheet
            run = usual_run(sheet, one.procedures)
            if worth.otherwise and (run is None or run.name in one.procedures):
                return None
            usual = self._setups.of(one.slot, sheet)
            again = worth.again if worth.again and (worth.again.code or 0) < self.board.codes else None
            return Setup(again.code, again.inputs) if again else usual
        except ForelightError as error:
            self.unreadable.append(error)
            return None

    def visits(self, most: int) -> list[Visit]:
        return plan(self.tasks, Walk(self.board.strapped), self.start, most)

    def title(self, task: Candidate) -> str:
        return self.sheets[task.standing.slot or 0].title

    def command(self, task: Candidate) -> str:
        """What to type once the slot has been recorded."""
        words = ["forelight", "check", str(task.standing.slot), "RECORDING", "--survey", str(self.path)]
        if self.board.name != "quay":
            known = self.board.name in board_names()
            words += ["--board", self.board.name if known else str(self.board.path)]
        return shlex.join([*words, *self._procedure(task)])

    def _procedure(self, task: Candidate) -> list[str]:
        """The options that ask for what is to be done: the experiment, the same as before, or a run not yet tried."""
        slot, worth = task.standing.slot or 0, task.worth
        sheet = self.sheets[slot]
        if worth.experiment:
            return ["--procedure", str((self.folder or Path()) / experiment_file(task))]
        if worth.again is None:
            run = usual_run(sheet, task.standing.procedures)
            return ["--run", run.name] if run is not None else []
        usual = self._setups.of(slot, sheet)
        words = [word for level in moved(usual.inputs, task.setup.inputs) for word in ("--set", level)]
        words += ["--strap", str(task.setup.code)] if task.setup.code not in (None, usual.code) else []
        if worth.again.procedure in (run.name for run in sheet.runs):
            return [*words, "--run", worth.again.procedure]
        return words if worth.again.procedure == "default" else [*words, "--procedure", "FILE"]

    def plain(self, visit: Visit) -> dict[str, object]:
        task = visit.task
        return {
            "slot": task.standing.slot,
            "name": task.standing.design,
            "title": self.title(task),
            "verdict": task.standing.kind,
            "why": task.worth.why,
            "bits": task.worth.bits,
            "strap_code": task.setup.code,
            "inputs": f"{task.setup.inputs:08b}",
            "moves": visit.moves,
            "do": list(task.worth.experiment),
            "remedy": task.worth.means,
            "command": self.command(task),
        }

    def paragraphs(self, visits: Sequence[Visit]) -> Iterator[Text | str]:
        """The tries in their order, under a head for each set-up."""
        if not visits:
            yield f"Nothing is left to try on {self.board.name}: each slot agrees, or differs for good."
            return
        moves = sum(visit.moves for visit in visits)
        yield (
            f"{_many(len(visits), 'try', 'tries')} of {len(self.tasks)} that would still tell something about "
            f"{self.board.name}, with {_many(moves, 'switch', 'switches')} to move between them."
        )
        for _, shared in groupby(visits, lambda visit: visit.task.setup):
            first, *others = shared
            yield ""
            yield Text(self._head(first), style="bold")
            yield "\n".join(line for visit in (first, *others) for line in self._lines(visit.task))
        if self.folder is None and any(visit.task.worth.experiment for visit in visits):
            yield ""
            yield "--experiments FOLDER writes the procedures that part two causes."

    def _lines(self, task: Candidate) -> Iterator[str]:
        """What is to be done in one slot, and why."""
        yield f"  {task.standing.slot} {self.title(task)}: {task.worth.why}"
        if task.worth.means:
            yield f"    {task.worth.means}"
        if task.worth.experiment:
            yield f"    Do: {'; '.join(task.worth.experiment)}"
        yield f"    {self.command(task)}"

    def _head(self, visit: Visit) -> str:
        """How the switches go over to a set-up."""
        before, after = visit.before, visit.task.setup
        levels = ", ".join(moved(before.inputs, after.inputs)) or "as they are"
        if after.code is None:
            return f"No step clock; inputs {levels}"
        if after.code == before.code:
            return f"Strap code {after.code} stays, and the step clock on; inputs {levels}"
        rate = hertz(self.board.step_hz(after.code)).partition(" (")[0]
        if not self.board.strapped:
            return f"Set the step source to {after.code} ({rate}); inputs {levels}"
        switches = " ".join(f"i{bit}={after.code >> bit & 1}" for bit in reversed(range(8)))
        then = " ".join(f"i{bit}={after.inputs >> bit & 1}" for bit in reversed(range(8)))
        return f"Strap {after.code} ({rate}): {switches}; then inputs {then}"


def experiment_file(task: Candidate) -> str:
    return f"slot_{task.standing.slot}.toml"


def _write(folder: Path, task: Candidate) -> Path:
    """The experiment as a procedure."""
    path = folder / experiment_file(task)
    parts = {"name": WHICH_CAUSE, "expect": task.worth.means[:2000]}
    lines = [f"{key} = {_quoted(text)}\n" for key, text in parts.items() if text]
    write_whole(path, "".join([*lines, f"do = [{', '.join(map(_quoted, task.worth.experiment))}]\n"]))
    return path


def _quoted(text: str) -> str:
    """As a text of TOML."""
    return json.dumps(clean(text), ensure_ascii=False)


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"
