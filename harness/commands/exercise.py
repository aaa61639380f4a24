"""`forelight check --exercise`: a recording with a hidden cause for a class, and what an answer to it is worth."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from pathlib import Path

from forelight.designs.toml_file import did_you_mean, quoted
from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole
from rich.text import Text

from ..asking.question import Asked, Question, question
from ..terminal.output import emit_json, progress, show
from ..verdict.causes.exercise import Exercise, exercise
from ..verdict.causes.foretell import Foreteller
from ..verdict.causes.mishap import SHARES, Mishap
from ..verdict.causes.rank import FAMILIES, rank
from ..verdict.causes.suspects import Ranking, Suspects
from ..verdict.verdict import DIFFERS
from .judging.judge import held_against
from .judging.reasons import handling, step_line

#: Draws until one differs, and steps that are recorded of it.
DRAWS, STEPS = 60, 300
#: Kinds that no family lists.
ALWAYS = {
    "another power-up",
    "another slot",
    "clock stopped on the way",
    "stuck inside the chip",
    "two slips",
}
RIGHT, NEARLY, WRONG = "right", "nearly", "wrong"


def run(asked: Asked, seed: int, file: Path | None, answer: str | None, as_json: bool) -> int:
    """Write the recording of the exercise that belongs to `seed`, or judge an answer. Returns the exit code: 1 where
    the answer is wrong."""
    asking = question(asked)
    made = drawn(asking, seed)
    said: dict[str, object] = {
        "board": asking.board.name,
        "capture": str(file) if file else f"exercise {seed}",
    }
    if file is not None:
        write_whole(file, made.text.encode())
        paragraphs: Iterator[Text | str] = _task(made, asking, seed, file)
        said["exercise"] = {"seed": seed, "file": str(file)}
        worth = RIGHT
    else:
        assert answer is not None
        ranking = _ranking(asking, made)
        worth = judged(made, ranking, answer)
        cause = made.cause
        paragraphs = _verdict(made, ranking, worth)
        said["exercise"] = {
            "seed": seed,
            "answered": answer,
            "worth": worth,
            "kind": cause.kind,
            "name": cause.name,
            "said": cause.said,
            "remedy": cause.remedy,
        }
    if as_json:
        emit_json(said)
    else:
        show(*paragraphs)
    return int(worth == WRONG)


def drawn(asking: Question, seed: int) -> Exercise:
    """The exercise that belongs to this seed: the first of its draws whose recording differs."""
    golden, teller = asking.golden(), Foreteller(step_line(asking))
    it, rng = handling(asking), random.Random(f"{seed} {asking.sheet.name}")
    for _ in range(DRAWS):
        made = exercise(it, teller, rng, STEPS)
        if made is None:
            continue
        if held_against(asking, golden, made.capture)[1].kind == DIFFERS:
            return made
    raise UsageError(
        "no exercise can be made of this run: nothing that goes wrong shows",
        place=asking.sheet.name,
        remedy="take another design, or a run that moves its inputs",
    )


def _ranking(asking: Question, made: Exercise) -> Ranking:
    with progress("Trying causes") as advance:
        return rank(made.meant, made.capture, asking.board, step_line(asking), advance)


def judged(made: Exercise, ranking: Ranking, answer: str) -> str:
    """An answer is right if it names the cause, or one that the recording cannot tell from it; nearly, if its kind."""
    cause, causes = made.cause, _causes(made)
    known = dict.fromkeys([cause.name, *(other.name for other in causes), *SHARES])
    said = next((word for word in known if word.lower() == answer.strip().lower()), None)
    if said is None:
        raise UsageError(
            f"{quoted(answer)} is no cause that is known here",
            remedy=did_you_mean(answer, known)
            or 'answer with a cause as `forelight check` names it ("i3 stuck at 0"), or with its kind ("input stuck")',
        )
    if said in {cause.name, *(_alike(ranking.groups, cause) or ())}:
        return RIGHT
    of_its_kind = [other for other in causes if other.kind == cause.kind]
    return (NEARLY if len(of_its_kind) > 1 else RIGHT) if said == cause.kind else WRONG


def _alike(groups: Iterable[Suspects], cause: Mishap) -> list[str] | None:
    """The names in the group of a cause, and its own; None where it is in none."""
    named = ([one.cause.name for one in group.members] for group in groups)
    return next((names for names in named if cause.name in names), None)


def _causes(made: Exercise) -> list[Mishap]:
    """All that can go wrong here, but for faults inside the chip."""
    return [cause for family in FAMILIES for cause in family(made.meant, made.capture)]


def _task(made: Exercise, asking: Question, seed: int, file: Path) -> Iterator[Text | str]:
    yield f"Wrote {file}: a recording of {asking.sheet.title} in which something went wrong."
    yield "What was it? Compare it with the card and with what was foretold, and answer with"
    yield f'  forelight check {asking.sheet.name} --exercise {seed} --answer "..."'
    yield ""
    kinds = [kind for kind in SHARES if kind in {cause.kind for cause in _causes(made)} | ALWAYS]
    yield f"These kinds of things go wrong here: {'; '.join(kinds)}."


def _verdict(made: Exercise, ranking: Ranking, worth: str) -> Iterator[Text | str]:
    words = {RIGHT: "Right", NEARLY: "Nearly", WRONG: "No"}
    yield Text(words[worth], style="bold").append(f": {made.cause.said}", style="not bold")
    yield made.cause.remedy
    alike = _alike(ranking.convincing, made.cause)
    if alike is None:
        yield "`check` does not find that by itself."
    elif len(alike) > 1:
        others = [name for name in alike if name != made.cause.name]
        yield f"The recording cannot tell that from {'; '.join(others[:3])}{' and others' if len(others) > 3 else ''}."
