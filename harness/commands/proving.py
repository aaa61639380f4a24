"""What a run or a recording proves of a chip, for the commands that say so, and runs that prove more."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.designs.procedures.procedure import Action, Play, Procedure, Select, Set, Strap, to_text
from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.files import write_whole

from ..bench.course import seated
from ..bench.inside import Inside
from ..capture.record import Capture
from ..coverage.improve import Search
from ..coverage.measure import Faults, coverage
from ..coverage.record import Coverage
from ..coverage.words import FAULTS, drawn, share
from ..golden.golden import Golden
from ..limits import stage
from ..terminal.output import progress
from ..verdict.verdict import AGREES, Verdict
from .question import Asked, Question


def proving(
    asking: Question,
    golden: Golden,
    *,
    faults: Faults | None = None,
    end: int | None = None,
    start: int | None = None,
    outputs: Collection[str] = OUTPUT_LINES,
) -> Coverage:
    """What the run that was asked for reveals once the slot is up, or from tick `start` to tick `end`.

    Raises UsageError where nothing can be said.
    """
    doing = f"trying faults of {asking.sheet.name}"
    with progress(doing.capitalize()) as advance, stage(doing):
        inside = Inside.of(asking.board, asking.sheet, asking.procedure, int(golden.facts["slot"]))
        return coverage(
            inside,
            golden,
            asking.start() if start is None else start,
            faults=faults,
            end=end,
            outputs=outputs,
            progress=advance,
        )


#: A recording that agrees is asked for no more: gates of a design, and faults, which run side by side.
MOST_GATES, MOST_FAULTS = 4000, 511


def proved(asking: Question, golden: Golden, capture: Capture, verdict: Verdict) -> Coverage | None:
    """What a recording that agrees would have revealed, on its lines and over its steps; None where nothing is said."""
    outputs = [line for line in capture.lines if line in OUTPUT_LINES]
    if verdict.kind != AGREES or verdict.golden_start_s is None or not outputs:
        return None
    try:
        seat = seated(asking.board, asking.sheet)
        faults = Faults.of(seat, MOST_FAULTS, asking.seed)
        if len(faults.drawn.cells) > MOST_GATES:
            return None
        start = max(round(verdict.golden_start_s * golden.oscillator_hz), asking.start())
        end = _end(golden, capture, verdict, start)
        return proving(asking, golden, faults=faults, start=start, end=end, outputs=outputs)
    except ForelightError:  # no bit tells anything by itself, or a memory is too large
        return None


def _end(golden: Golden, capture: Capture, verdict: Verdict, start: int) -> int:
    """The tick of the prediction at which a recording ends that begins at tick `start` of it."""
    if capture.unit == "seconds":
        faster = verdict.rate_hz / verdict.expected_hz if verdict.rate_hz and verdict.expected_hz else 1.0
        return start + round((capture.end - capture.start) * faster * golden.oscillator_hz)
    row = max(int(np.searchsorted(golden.ticks, start, side="right")) - 1, 0)
    after = np.flatnonzero(golden.steps >= golden.steps[row] + verdict.steps)
    return int(golden.ticks[after[0]]) - 1 if len(after) else golden.end


def proof(found: Coverage) -> Iterator[str]:
    """What such a recording has proved, in sentences."""
    yield f"It would have shown {share(found)} of {FAULTS}."
    if more := drawn(found):
        yield more


@dataclass(frozen=True)
class Improved:
    """A run that reveals more than the one that was asked for: what is done once the slot is brought up.

    `added` is how many actions of it are new; none where nothing was found, and then `after` is as before.
    """

    name: str
    actions: tuple[Action, ...]
    added: int
    before: Coverage
    after: Coverage

    @property
    def gained(self) -> int:
        return self.after.revealed - self.before.revealed

    def write(self, path: Path) -> None:
        """The run as a procedure file, if it reveals more."""
        if self.gained > 0:
            does = "".join(f"    {json.dumps(to_text(action))},\n" for action in self.actions)
            write_whole(path, f"name = {json.dumps(self.name)}\ndo = [\n{does}]\n")

    def to_json(self) -> dict[str, object]:
        return {
            "do": [to_text(action) for action in self.actions],
            "gained": self.gained,
            "coverage": self.after.to_json(),
        }


def improved(asking: Question, golden: Golden, found: Coverage) -> Improved:
    """A run that begins as the one that was asked for and goes on so that it reveals more."""
    if any(isinstance(action, Play) for action in asking.told):
        raise UsageError(
            "a run that plays a recording is not improved", remedy="leave --improve out, or take another run"
        )
    board, sheet, whole = asking.board, asking.sheet, asking.procedure.actions
    slot = int(golden.facts["slot"])
    doing = f"searching a run of {sheet.name} that reveals more"
    with progress(doing.capitalize()) as advance, stage(doing):
        inside = Inside.of(board, sheet, asking.procedure, slot)
        faults = Faults.of(inside.seat)
        search = Search(inside, board, asking.procedure, slot, faults, asking.seed)
        added = search.moves([line.number for line in found.missed], advance) if found.missed else ()
    begins = next(n for n, action in enumerate(whole) if not isinstance(action, (Select, Set, Strap)))
    levels = (Set(dict(asking.asked_levels)),) if asking.asked_levels else ()
    own = (*levels, *(asking.told or whole[begins:]))
    longer = replace(asking, procedure=Procedure(asking.procedure.name, (*whole, *added)))
    after = proving(longer, longer.golden(), faults=faults) if added else found
    if after.revealed <= found.revealed:
        added, after = (), found
    return Improved(f"{asking.procedure.name}, improved", (*own, *added), len(added), found, after)


def gained(better: Improved, path: Path, asked: Asked) -> Iterator[str]:
    """What the search has brought, and how to take it."""
    if not better.added:
        yield f"No input settings and no length were found that reveal more: {path} was not written."
        return
    options = [
        *(["--board", asked.board] if asked.board != "quay" else []),
        *(["--strap", str(asked.strap)] if asked.strap is not None else []),
        *(["--hz", f"{asked.hz:g}"] if asked.hz is not None else []),
    ]
    yield (
        f"Wrote {path}: with {better.added} more actions it would reveal {share(better.after)}, {better.gained} faults "
        "more."
    )
    yield f"Take it with: forelight golden {' '.join([asked.slot, '--procedure', str(path), *options])}"
