"""The goldens that are kept beside the designs of the catalogue: what they are to be, and how far they differ.

There is one for each run of a datasheet, in slot 0 of the first board that could carry the design. A long one is cut:
its side file says how many rows there are, and holds the hash of them all, so that the whole run is compared.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from forelight.designs.datasheet import Datasheet
from forelight.sim.errors import UsageError
from forelight.sim.files import write_together
from forelight.sim.frozen import frozen

from ..boards.profile import Board
from ..chip.routing import routing
from ..golden.golden import Golden
from ..golden.write import side, to_csv
from ..hand.routine import run_procedure
from .predict import predict

FOLDER = "golden"
#: Rows that are kept; some 60 kB.
MOST_ROWS = 1200


@frozen
class GoldenDifference:
    """How a kept golden differs from what is foretold now.

    `kind` is new, changed or stale (nothing is to be kept under this name). `more` and `fewer` are rows that only the
    new one and only the old one has, `first` the first that only the new one has, `facts` the keys of the side file
    that are not the same.
    """

    design: str
    run: str
    kind: str
    more: int = 0
    fewer: int = 0
    first: str | None = None
    facts: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """As plain values."""
        plain = dict(vars(self))
        return plain | {"fact_names": plain.pop("facts"), "first_row": plain.pop("first")}


def foretold(sheet: Datasheet, boards: Sequence[Board]) -> dict[str, bytes]:
    """The files of a design's goldens as they are to be, by name."""
    board = carrier(sheet, boards)
    files: dict[str, bytes] = {}
    for run in sheet.runs:
        golden = predict(board, sheet, run_procedure(board, sheet, run.name), slot=0)
        whole = to_csv(golden)
        part = _cut(golden)
        facts = {"rows": len(golden.ticks), "kept_rows": len(part.ticks)}
        digest = {"csv_sha256": hashlib.sha256(whole).hexdigest()}
        name = file_name(run.name)
        if f"{name}.csv" in files:
            raise UsageError(
                f"two runs of {sheet.name} would be kept as {name}.csv", remedy="name the runs otherwise"
            )
        files[f"{name}.csv"] = to_csv(part)
        files[f"{name}.toml"] = side(replace(part, facts={**part.facts, **facts, **digest})).encode()
    return files


def carrier(sheet: Datasheet, boards: Sequence[Board]) -> Board:
    """The first board that has the lines which the design needs."""
    for board in boards:
        try:
            routing(board, sheet)
        except UsageError:
            continue
        return board
    raise UsageError(f"no board carries {sheet.name}", remedy="look at the lines of its datasheet")


def file_name(run: str) -> str:
    """The name of a run as that of a file."""
    return re.sub(r"[^a-z0-9]+", "-", run.lower()).strip("-") or "run"


def _cut(golden: Golden) -> Golden:
    """The first rows."""
    if len(golden.ticks) <= MOST_ROWS:
        return golden
    columns = ("ticks", "steps", "inputs", "outputs", "proved", "sampled")
    kept = {name: getattr(golden, name)[:MOST_ROWS] for name in columns}
    return replace(golden, **kept, end=int(golden.ticks[MOST_ROWS]))


def differences(sheet: Datasheet, files: dict[str, bytes]) -> list[GoldenDifference]:
    """How the files beside a design differ from what they are to be."""
    folder = sheet.folder / FOLDER
    found = []
    for name in sorted({Path(file).stem for file in files}):
        csv, facts = f"{name}.csv", f"{name}.toml"
        if not ((folder / csv).is_file() and (folder / facts).is_file()):
            rows = files[csv].count(b"\n") - 1
            found.append(GoldenDifference(sheet.name, name, "new", more=rows))
        else:
            old = (folder / csv).read_bytes(), (folder / facts).read_bytes()
            if old != (files[csv], files[facts]):
                found.append(_changed(sheet.name, name, old, (files[csv], files[facts])))
    kept = folder.iterdir() if folder.is_dir() else ()
    stale = sorted({path.stem for path in kept if path.name not in files})
    return found + [GoldenDifference(sheet.name, name, "stale") for name in stale]


def _changed(design: str, name: str, old: tuple[bytes, bytes], new: tuple[bytes, bytes]) -> GoldenDifference:
    before, after = (Counter(pair[0].decode(errors="replace").splitlines()) for pair in (old, new))
    first = next((line for line in after if line not in before), None)
    return GoldenDifference(
        design,
        name,
        "changed",
        more=(after - before).total(),
        fewer=(before - after).total(),
        first=first,
        facts=_keys(old[1], new[1]),
    )


def _keys(old: bytes, new: bytes) -> tuple[str, ...]:
    """The facts that are not the same."""
    after = tomllib.loads(new.decode())
    try:
        before = tomllib.loads(old.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):
        return tuple(after)
    return tuple(key for key in {**before, **after} if before.get(key) != after.get(key))


def keep(sheet: Datasheet, files: dict[str, bytes]) -> None:
    """Put the files beside the design, and take away those that are not among them."""
    folder = sheet.folder / FOLDER
    if files:
        folder.mkdir(exist_ok=True)
    found = {folder / name: data for name, data in files.items()}
    changed = [
        (path, data) for path, data in found.items() if not path.is_file() or path.read_bytes() != data
    ]
    if changed:
        write_together(changed)
    if folder.is_dir():
        for path in folder.iterdir():
            if path.name not in files:
                path.unlink()
