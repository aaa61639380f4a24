"""`forelight golden`: the predicted outputs, as CSV or VCD."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.designs.procedures.procedure import Play, Procedure, Select, Set, Strap, to_text
from forelight.sim.errors import UsageError

from ..asking.facts import contention, warnings
from ..asking.question import Asked, Question, question
from ..asking.settled import from_the_source, races, undefined
from ..asking.settled import told as how_far
from ..asking.signals import watched
from ..coverage.words import share, told
from ..golden.golden import Golden
from ..golden.write import to_csv, write_golden
from ..limits import stage
from ..terminal.output import emit_bytes, emit_json, emit_words, progress, warn
from ..view.warned import warned
from ..view.words import seconds

if TYPE_CHECKING:
    from ..coverage.improve import Improved
    from ..coverage.record import Coverage

STDOUT = "-"
ENDINGS = (".csv", ".vcd")


def run(
    asked: Asked,
    output: str,
    as_json: bool,
    watch: Sequence[str] = (),
    *,
    coverage: bool = False,
    improve: Path | None = None,
) -> int:
    """`watch` names signals of the source that go into a dump.

    `coverage` asks how much of the design the run tries; `improve` is where a run is written that tries more.
    """
    path = Path(output)
    _refuse(path, output, as_json=as_json, watch=watch, improve=improve)
    asking = question(asked)
    golden = asking.golden()
    tried = asking.coverage(golden) if coverage or improve else None
    better = improved(asking, golden, tried) if tried and improve else None
    if better and improve:
        better.write(improve)
    proves = [
        *(told(tried) if tried else ()),
        *(gained(better, improve, asked) if better and improve else ()),
    ]
    if output == STDOUT:
        emit_bytes(to_csv(golden))
        for paragraph in (
            *warned(golden),
            *from_the_source(golden),
            *undefined(golden),
            *races(golden),
            *proves,
        ):
            warn(paragraph)
        return 0
    write_golden(golden, path, watched(asking, int(golden.facts["slot"]), watch) if watch else None)
    found = answer(asking, golden, path)
    if tried:
        found["coverage"] = tried.to_json()
    if better:
        found["improved"] = {"file": str(improve) if better.added else None, **better.to_json()}
    if as_json:
        emit_json(found)
    else:
        emit_words(sentence(found))
        settled = how_far(golden, asking.settling(golden), asking.restarting())
        odd = (*contention(asking), *warned(golden), *from_the_source(golden))
        for paragraph in (*odd, *settled, *proves):
            emit_words(paragraph)
    return 0


def _refuse(path: Path, output: str, *, as_json: bool, watch: Sequence[str], improve: Path | None) -> None:
    """Raise UsageError for files that cannot be what is asked for."""
    if watch and path.suffix != ".vcd":
        raise UsageError(
            "--watch adds signals to a dump", place=output, remedy="name a file that ends in .vcd"
        )
    if output == STDOUT:
        if as_json:
            raise UsageError("--json needs a file for the golden", remedy="name one with -o")
    elif path.suffix not in ENDINGS:
        raise UsageError(
            f"the ending '{path.suffix}' is not that of a golden",
            place=output,
            remedy=f"allowed: {', '.join(ENDINGS)}, or - for CSV on standard output",
        )
    if improve and improve in (path, path.with_suffix(".toml")):
        raise UsageError(
            "the golden and the improved run would be one file",
            place=str(improve),
            remedy="name another file",
        )


def answer(asking: Question, golden: Golden, path: Path) -> dict[str, object]:
    """What was written, for scripts."""
    up = int(np.searchsorted(golden.ticks, asking.start(), side="right")) - 1
    vague = int(np.bitwise_or.reduce(~golden.settled[up:]))
    return {
        "files": [str(path), *([str(path.with_suffix(".toml"))] if path.suffix == ".csv" else [])],
        "name": asking.sheet.name,
        "board": asking.board.name,
        "do": [to_text(action) for action in asking.procedure.actions],
        "rows": len(golden.ticks),
        "start_s": asking.start() / golden.oscillator_hz,
        "end_s": golden.end / golden.oscillator_hz,
        "settling": vars(asking.settling(golden)),
        "restarting": found.answer() if (found := asking.restarting()) else None,
        "races": [race.to_json() for race in golden.races],
        "suspects": [race.to_json() for race in golden.suspects],
        "unsettled": [line for bit, line in enumerate(OUTPUT_LINES) if vague >> bit & 1],
        "facts": dict(golden.facts),
        "warnings": list(warnings(asking)),
        "contention": list(contention(asking)),
    }


def sentence(found: dict[str, object]) -> str:
    """The same for people."""
    files, vague, start, end = (found[key] for key in ("files", "unsettled", "start_s", "end_s"))
    assert isinstance(files, list) and isinstance(vague, list)
    assert isinstance(start, float) and isinstance(end, float)
    rows = "1 row" if found["rows"] == 1 else f"{found['rows']} rows"
    settled = f"unsettled: {', '.join(vague)}" if vague else "all outputs settled"
    return (
        f"Wrote {' and '.join(files)}: {rows} over {seconds(end)}; "
        f"once the slot is up, from {seconds(start)} on, {settled}."
    )


def improved(asking: Question, golden: Golden, found: Coverage) -> Improved:
    """A run that begins as the one that was asked for and goes on so that it reveals more."""
    from ..coverage.improve import Improved, Search
    from ..coverage.measure import Faults

    if any(isinstance(action, Play) for action in asking.told):
        raise UsageError(
            "a run that plays a recording is not improved", remedy="leave --improve out, or take another run"
        )
    board, sheet, whole = asking.board, asking.sheet, asking.procedure.actions
    slot = int(golden.facts["slot"])
    doing = f"searching a run of {sheet.name} that reveals more"
    with progress(doing.capitalize()) as advance, stage(doing):
        inside = asking.inside(slot)
        faults = Faults.of(inside.seat)
        search = Search(inside, board, asking.procedure, slot, faults, asking.seed)
        added = search.moves([line.number for line in found.missed], advance) if found.missed else ()
    begins = next(n for n, action in enumerate(whole) if not isinstance(action, (Select, Set, Strap)))
    levels = (Set(dict(asking.asked_levels)),) if asking.asked_levels else ()
    own = (*levels, *(asking.told or whole[begins:]))
    longer = replace(asking, procedure=Procedure(asking.procedure.name, (*whole, *added)))
    after = longer.coverage(longer.golden(), faults=faults) if added else found
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
