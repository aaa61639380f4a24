"""What `forelight check` says of a recording that differs: its causes, and the experiment that tells two apart."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from forelight.designs.procedures.procedure import to_text
from forelight.sim.files import write_whole
from rich.table import Table
from rich.text import Text

from ...capture.record import Capture
from ...verdict.causes.experiment import Experiment, sentence, separating
from ...verdict.causes.foretell import Foreteller
from ...verdict.causes.mishap import Scene
from ...verdict.causes.rank import rank
from ...verdict.causes.suspects import Ranking, Suspects
from ...verdict.causes.table import Differing
from ..output import progress
from ..question import Question

#: Groups that are named, and members of each.
GROUPS, MEMBERS = 3, 4
#: A cause less likely than that is not named beside the first.
LEAST = 1e-4
#: Rows of the table of bits.
MOST_ROWS = 12


def scene(asking: Question) -> Scene:
    """What was to be done at the bench."""
    actions, slot = asking.procedure.actions, asking.slot or 0
    up = asking.setting_up
    return Scene(asking.board, asking.sheet, slot, slot, actions[:up], actions[up:])


def step_line(asking: Question) -> str:
    """The line that carries the step clock, as recordings name it."""
    line = asking.sheet.step.line if asking.sheet.step else asking.board.step_line
    return "step" if line == "own" else line


def ranked(asking: Question, capture: Capture) -> Ranking:
    """The causes, with a bar while they are tried."""
    with progress("Trying causes") as advance:
        return rank(scene(asking), capture, asking.board, step_line(asking), advance)


def told_apart(asking: Question, capture: Capture, ranking: Ranking) -> Experiment | None:
    """The experiment for the two best groups."""
    if len(ranking.convincing) < 2:
        return None
    first, second = (group.best.cause for group in ranking.convincing[:2])
    teller = Foreteller(step_line(asking))
    lines = tuple(name for name in capture.lines if name[0] == "o")
    return separating(first, second, scene(asking), lines, teller)


def write_experiment(file: Path, made: Experiment | None, ranking: Ranking | None, asking: Question) -> str:
    """Write it as a procedure, where there is one; a sentence on what was done."""
    if made is None or ranking is None:
        return (
            f"No experiment was written to {file}: there are no two causes here that a procedure of a few moves "
            "would tell apart."
        )
    first, second = (group.best.cause for group in ranking.convincing[:2])
    lines = [
        f"name = {json.dumps('which of two causes')}",
        f"do = [{', '.join(json.dumps(to_text(action)) for action in made.actions)}]",
        f"expect = {json.dumps(sentence(made, first, second, asking.board), ensure_ascii=False)}",
    ]
    write_whole(file, ("\n".join(lines) + "\n").encode())
    return f"Wrote {file}: carry it out with `--procedure {file}`."


def paragraphs(asking: Question, ranking: Ranking, made: Experiment | None) -> Iterator[Text | Table | str]:
    """The best group and its remedy, up to two more, the experiment, the bits that differ."""
    groups = ranking.convincing
    if not groups:
        yield f"None of the {ranking.tried} causes that were tried explains this recording."
    for number, group in enumerate(groups[:GROUPS]):
        if number and ranking.odds(group) < LEAST:
            break
        yield _group(group, ranking, number)
        if number == 0:
            yield f"  {group.best.cause.remedy}"
    if made is not None:
        first, second = (group.best.cause for group in groups[:2])
        yield ""
        yield f"To tell the first two apart: {sentence(made, first, second, asking.board)}"
    if ranking.differing:
        yield ""
        yield _table(ranking.differing)


def _group(group: Suspects, ranking: Ranking, number: int) -> Text:
    head = "Likely cause: " if number == 0 else "Or: "
    others = [one.cause.name for one in group.members[1:]]
    line = Text(head, style="bold" if number == 0 else "").append(group.best.cause.said, style="not bold")
    line.append(f" ({_chance(ranking.odds(group))})", style="not bold")
    if others:
        listed = "; ".join(others[: MEMBERS - 1])
        more = f" and {len(others) - MEMBERS + 1} more" if len(others) >= MEMBERS else ""
        line.append(f" This recording cannot tell that from: {listed}{more}.", style="not bold")
    return line


def _chance(share: float) -> str:
    if share > 0.999:
        return "all but certain, of what was tried"
    if share < 0.001:
        return "less than 1 in 1000"
    return f"{share:.0%} of the odds" if share >= 0.01 else f"1 in {round(1 / share)}"


def _table(rows: tuple[Differing, ...]) -> Table:
    table = Table(box=None, pad_edge=False)
    for name in ("line", "inputs i7 to i0", "bits that differ"):
        table.add_column(name)
    for row in rows[:MOST_ROWS]:
        table.add_row(row.line, row.setting, f"{row.wrong} of {row.compared}")
    return table


def plain(asking: Question, ranking: Ranking, made: Experiment | None) -> dict[str, object]:
    """All of it, for scripts."""
    groups = [
        {
            "share": ranking.odds(group),
            "bits": group.bits,
            "causes": [
                {
                    "kind": one.cause.kind,
                    "name": one.cause.name,
                    "said": one.cause.said,
                    "remedy": one.cause.remedy,
                }
                for one in group.members
            ],
        }
        for group in ranking.convincing
    ]
    first = [group.best.cause for group in ranking.convincing[:2]]
    return {
        "tried": ranking.tried,
        "groups": groups,
        "differing": [vars(row) for row in ranking.differing],
        "experiment": None
        if made is None
        else {
            "do": [to_text(action) for action in made.actions],
            "line": made.line,
            "levels": [made.first, made.second],
            "said": sentence(made, first[0], first[1], asking.board),
        },
    }
