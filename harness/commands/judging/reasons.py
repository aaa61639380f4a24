"""What `forelight check` says of a recording that differs: its causes, and the experiment that tells two apart."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

from forelight.designs.datasheet import OUTPUT_LINES
from forelight.designs.procedures.procedure import to_text
from forelight.sim.files import write_whole
from forelight.sim.frozen import frozen
from rich.table import Table
from rich.text import Text

from ...asking.question import Question
from ...capture.record import Capture
from ...terminal.output import progress
from ...verdict.causes.experiment import ONCE, Experiment, sentence, separating
from ...verdict.causes.foretell import Foreteller
from ...verdict.causes.mishap import Handling
from ...verdict.causes.rank import rank
from ...verdict.causes.suspects import Explained, Ranking, Suspects
from ...verdict.causes.table import Differing
from ...verdict.kinds import WHICH_CAUSE

#: Groups that are named, and members of each.
GROUPS, MEMBERS = 3, 4
#: Remedies that are told beside the first one's.
NEXT = 2
#: Causes of one group that an experiment is looked for, the first among them.
TRIED = 3
#: Bits by which a cause that is not named may be rarer than one that the recording cannot tell it from.
RARER = 7.0
#: A cause less likely than that is not named beside the first.
LEAST = 1e-4
#: Rows of the table of bits.
MOST_ROWS = 12


def handling(asking: Question) -> Handling:
    """What was to be done at the bench."""
    actions, slot = asking.procedure.actions, asking.slot or 0
    up = asking.setting_up
    return Handling(asking.board, asking.sheet, slot, slot, actions[:up], actions[up:])


def step_line(asking: Question) -> str:
    """The line that carries the step clock, as recordings name it."""
    line = asking.sheet.step.line if asking.sheet.step else asking.board.step_line
    return "step" if line == "own" else line


@frozen
class Grounds:
    """What explains a recording, the experiment that tells a `pair` of explanations apart (None where none was
    found), and what became of the file for it."""

    asking: Question
    ranking: Ranking
    apart: Experiment | None
    pair: tuple[Explained, ...] = ()
    written: str = ""

    def __iter__(self) -> Iterator[Text | Table | str]:
        """In paragraphs: the best group and its remedy, up to two more, the experiment, the bits that differ."""
        ranking, groups = self.ranking, self.ranking.convincing
        yield ""
        if not groups:
            as_well = " better than the differences above do" if ranking.none > 0 else ""
            yield f"None of the {ranking.tried} causes that were tried explains this recording{as_well}."
            yield (
                "  Do the same again: what differs in the same way is no slip. forelight check --any tells which slot "
                "and run a recording fits."
            )
        for number, group in enumerate(groups[:GROUPS]):
            if number and ranking.odds(group) < LEAST:
                break
            yield _group(group, ranking, number)
            if number == 0:
                yield f"  {group.best.cause.remedy}"
                yield from (f"  If that was not it: {remedy}" for remedy in _next_remedies(group))
        if self.apart is not None:
            yield ""
            yield f"To tell two of these apart: {self._sentence(self.apart)}"
        once = [group.best.cause.kind in ONCE for group in groups[:GROUPS] if ranking.odds(group) >= LEAST]
        if any(once) and not all(once):
            yield ""
            yield "Or do the same again: if it differs in the same way, it was no slip that happens once."
        if ranking.differing:
            yield ""
            yield _table(ranking.differing)
        if self.written:
            yield ""
            yield self.written

    def to_json(self) -> dict[str, object]:
        """For scripts."""
        return {
            "tried": self.ranking.tried,
            "groups": [_plain(group, self.ranking.odds(group)) for group in self.ranking.convincing],
            "differing": [asdict(row) for row in self.ranking.differing],
            "experiment": None if self.apart is None else self._experiment(self.apart),
        }

    def _experiment(self, made: Experiment) -> dict[str, object]:
        return {
            "do": [to_text(action) for action in made.actions],
            "line": made.line,
            "foretells": [made.first, made.second],
            "shares": [self.ranking.odds(Suspects((one,), one.bits)) for one in self.pair],
            "said": self._sentence(made),
        }

    def _sentence(self, made: Experiment) -> str:
        first, second = self.pair
        return sentence(made, first.cause, second.cause, self.asking.board)

    def into(self, file: Path) -> Grounds:
        """The experiment written into a file as a procedure."""
        made = self.apart
        if made is None:
            return replace(
                self,
                written=f"No experiment was written to {file}: there are no two causes here that a procedure of a few "
                "moves would tell apart.",
            )
        lines = [
            f"name = {json.dumps(WHICH_CAUSE)}",
            f"do = [{', '.join(json.dumps(to_text(action)) for action in made.actions)}]",
            f"expect = {json.dumps(self._sentence(made), ensure_ascii=False)}",
        ]
        write_whole(file, ("\n".join(lines) + "\n").encode())
        return replace(self, written=f"Wrote {file}: carry it out with `--procedure {file}`.")


def explained(asking: Question, capture: Capture, experiment: Path | None = None) -> Grounds:
    """The causes of a recording that differs, with a bar while they are tried."""
    line = step_line(asking)
    with progress("Trying causes") as advance:
        ranking = rank(handling(asking), capture, asking.board, line, advance)
    lines = tuple(name for name in capture.lines if name in OUTPUT_LINES)
    why = Grounds(asking, ranking, None)
    for first, second in _pairs(ranking, experiment is not None):
        apart = separating(first.cause, second.cause, handling(asking), lines, Foreteller(line))
        if apart is not None:
            why = replace(why, apart=apart, pair=(first, second))
            break
    return why.into(experiment) if experiment is not None else why


def _pairs(ranking: Ranking, asked: bool) -> list[tuple[Explained, Explained]]:
    """Causes that are worth an experiment: of the first two groups, then of the first alone; where that is all but
    certain, of that alone."""
    groups = ranking.convincing
    some = [one for group in groups[:1] for one in _likely(group)]
    # Where the remedy is the same, nobody need know which of two it is.
    others = some[1:] if asked else [one for one in some[1:] if one.cause.remedy != some[0].cause.remedy]
    alike = [(some[0], other) for other in others[: TRIED - 1]]
    if len(groups) > 1 and (asked or ranking.odds(groups[1]) >= LEAST):
        return [(groups[0].best, groups[1].best), *alike]
    return alike


def _likely(group: Suspects) -> list[Explained]:
    """The members that are not far less common than the first."""
    return [one for one in group.members if one.bits > group.best.bits - RARER]


def _next_remedies(group: Suspects) -> list[str]:
    """What to do if the first remedy changes nothing: those of the next causes of other kinds that the recording does
    not tell from the first."""
    found: dict[str, str] = {}
    for one in _likely(group):  # one switch of the selector or two are of a kind here
        found.setdefault(one.cause.kind.partition(",")[0], one.cause.remedy)
    return list(found.values())[1 : NEXT + 1]


def _plain(group: Suspects, share: float) -> dict[str, object]:
    causes = [
        {"kind": one.cause.kind, "name": one.cause.name, "said": one.cause.said, "remedy": one.cause.remedy}
        for one in group.members
    ]
    return {"share": share, "bits": group.bits, "causes": causes}


def _group(group: Suspects, ranking: Ranking, number: int) -> Text:
    head = "Likely cause: " if number == 0 else "Or: "
    others = [one.cause.name for one in _likely(group)[1:]]
    chance = _chance(ranking.odds(group))
    line = Text(head, style="bold" if number == 0 else "").append(group.best.cause.said, style="not bold")
    left = len(group.members) - 1 - len(others[: MEMBERS - 1])
    if others:
        named = "; ".join([*others[: MEMBERS - 1], *([f"{left} more"] if left else [])])
        return line.append(
            f" The recording fits these as well: {named}. Together: {chance}.", style="not bold"
        )
    line.append(f" ({chance})", style="not bold")
    if left:
        many = f"{left} causes that are" if left > 1 else "a cause that is"
        line.append(f" The recording fits {many} far less common as well.", style="not bold")
    return line


def _chance(share: float) -> str:
    if share > 0.995:
        return "all but certain among what was tried"
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
