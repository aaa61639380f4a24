"""Predictions and verdicts in one call, for programs: the same questions as on the command line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import SupportsFloat, SupportsIndex, TypedDict, Unpack

from forelight.designs.procedures.procedure import Procedure, parse
from forelight.designs.toml_file import did_you_mean
from forelight.sim.errors import UsageError

from ..asking.question import Asked, Question, question
from ..boards.profile import Board
from ..boards.reader import load_board
from ..capture.readers import read_capture
from ..capture.record import Capture
from ..verdict.verdict import Verdict
from ..verdict.verdict import check as judge
from .prediction import Prediction, prediction

#: What a program may give for a design: a slot number, a name, or a path.
Design = str | Path | SupportsIndex
#: What a program may give for a procedure: actions as texts, a procedure, or the path of a TOML file.
Doing = Sequence[str] | Procedure | Path


class Asking(TypedDict, total=False):
    """What may be said beside the design; `predict` explains it."""

    board: str | Path | Board
    run: str | None
    do: Doing | None
    strap: SupportsIndex | None
    hz: SupportsFloat | None
    levels: Mapping[str, SupportsIndex] | None
    seconds: SupportsFloat | None
    steps: SupportsIndex | None
    power_ups: SupportsIndex
    seed: SupportsIndex


def asking(
    design: Design,
    *,
    board: str | Path | Board = "quay",
    run: str | None = None,
    do: Doing | None = None,
    strap: SupportsIndex | None = None,
    hz: SupportsFloat | None = None,
    levels: Mapping[str, SupportsIndex] | None = None,
    seconds: SupportsFloat | None = None,
    steps: SupportsIndex | None = None,
    power_ups: SupportsIndex = 256,
    seed: SupportsIndex = 0,
    **others: object,
) -> Question:
    """What a program asks, as `predict` explains it."""
    if others:
        near = did_you_mean(next(iter(others)), Asking.__annotations__)
        raise UsageError(
            f"found {', '.join(others)} beside the design",
            remedy=near or f"what may be said: {', '.join(Asking.__annotations__)}",
        )
    lasting = steps is not None or seconds is not None
    if steps is not None and seconds is not None:
        raise UsageError("steps and seconds contradict each other", remedy="give one of them")
    if lasting and (run is not None or do is not None):
        raise UsageError("run or do and steps or seconds contradict each other", remedy="give one of them")
    if do is not None and run is not None:
        raise UsageError("run and do contradict each other", remedy="give one of them")
    if steps is not None and int(steps.__index__()) < 1:
        raise UsageError(f"found {steps} steps", remedy="give at least 1")
    asked = Asked(
        slot=as_slot(design),
        board="",
        strap=None if strap is None else strap.__index__(),
        hz=None if hz is None else float(hz),
        levels={line: level.__index__() for line, level in (levels or {}).items()},
        run_name=run,
        procedure=do if isinstance(do, Path) else None,
        seconds=None if seconds is None else float(seconds),
        seed=seed.__index__(),
        power_ups=power_ups.__index__(),
        steps=None if steps is None else steps.__index__(),
    )
    procedure = None if do is None or isinstance(do, Path) else _procedure(do)
    return question(asked, load_board(board), procedure)


def predict(design: Design, **asked: Unpack[Asking]) -> Prediction:
    """What the board's pins do, foretold.

    `design` is a slot number, the name of a design of the catalogue, or the path of a contribution or of its source.
    On the `board` (a name, a path or a `Board`; quay if nothing is said) it is brought up and restarted, and runs for
    `seconds` (10 if nothing is said) or for so many `steps`; or else it goes through a `run` of its datasheet, or
    through `do`: actions such as `["restart", "set i0=1", "steps 20"]`, a procedure, or the path of a file with one.
    `levels` are input lines at 0 or 1 that differ from their rest. The rate of the step clock is that of the code
    `strap`, or nearest to `hz`, or to what the author wants. `power_ups` are tried, as `seed` says. Raises a
    ForelightError, with object, place and remedy, for what cannot be done.
    """
    found = asking(design, **asked)
    means = {line: said.means for line, said in found.sheet.lines.items() if line.startswith("o")}
    return prediction(found.golden(), found.board, found.start(), means)


def as_slot(design: Design) -> str:
    """The design as the roster of a board looks it up."""
    return str(design) if isinstance(design, str | Path) else str(design.__index__())


def _procedure(do: Sequence[str] | Procedure) -> Procedure:
    if isinstance(do, Procedure):
        return do
    if isinstance(do, str):
        raise UsageError(f"found the text {do!r} for do", remedy=f"give a list of actions, as in [{do!r}]")
    return Procedure("actions", parse(list(do), "do"))


def check(
    design: Design | Prediction,
    capture: str | Path | Capture,
    *,
    mapping: Mapping[str, str] | None = None,
    tolerance: float = 0.02,
    **asked: Unpack[Asking],
) -> Verdict:
    """Whether a recording agrees with a prediction, or with that of a design.

    `capture` is a file, or what `read_capture` gave; `mapping` says which column holds a line (`{"o0": "CH3"}`). For a
    design `asked` is what `predict` takes beside it, and the prediction should be longer than the recording.
    `tolerance` is how far the instrument's clock may be off. Raises a ForelightError for a file that cannot be read;
    what cannot be told is the verdict `inconclusive`.
    """
    if isinstance(design, Prediction):
        if asked:
            raise UsageError(
                f"found {', '.join(asked)} beside a prediction",
                remedy="leave it out, or give the design itself",
            )
        foretold = design
    else:
        foretold = predict(design, **asked)
    profile = foretold.profile or load_board(foretold.board)
    if not isinstance(capture, Capture):
        capture = read_capture(capture, mapping or {}, profile.pins, profile.display)
    first = int(foretold.steps[foretold.ticks <= foretold.start][-1])
    # Steps count from the moment at which the slot is up, as an eye counts them.
    golden = replace(foretold, steps=foretold.steps - first)
    step = golden.facts.get("step_line")
    return judge(
        golden,
        capture,
        profile,
        step_line=None if step is None else str(step),
        tolerance=tolerance,
        start=foretold.start,
    )
