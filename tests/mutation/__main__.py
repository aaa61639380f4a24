"""Do the tests bite? Draws mutants of the rooms and runs each room's own tests on them: `python -m tests.mutation`.

The mutants are those of a session of `cosmic-ray` over the files of a room, drawn by a printed seed. Each is put into
a clone of the last commit, so that nothing here changes, and the room's own tests run on it until one fails. What
survives is printed as a difference: either it is equivalent (its reason stands in README.md beside this file), or a
test is missing.
"""

from __future__ import annotations

import argparse
import ast
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.commands.init import init
from cosmic_ray.mutating import use_mutation
from cosmic_ray.plugins import get_operator
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import MutationSpec

from tests.mutation.trial import Child, Trial

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Room:
    """Files (by pattern, of the checkout) and the tests that answer for them, the quickest first."""

    files: tuple[str, ...]
    tests: tuple[str, ...]


ROOMS = {
    "folding": Room(("sim/compile/fold.py",), ("tests/sim/compile/test_fold.py", "tests/sim/compile")),
    "updates": Room(
        ("sim/compile/update.py", "sim/compile/loop.py"),
        ("tests/sim/compile", "tests/sim/test_settling.py", "tests/sim/gates/test_memories.py"),
    ),
    "memories": Room(
        ("sim/compile/memories.py", "sim/gates/memories.py"), ("tests/sim/compile", "tests/sim/gates")
    ),
    "lanes": Room(("sim/lanes/*.py",), ("tests/sim/lanes",)),
    "proof": Room(("sim/proof/*.py", "sim/proof/rounds/*.py"), ("tests/sim/proof",)),
    "golden": Room(("harness/golden/*.py",), ("tests/harness/golden",)),
    "hand": Room(("harness/hand/*.py",), ("tests/harness/hand",)),
    "bench": Room(("harness/bench/*.py",), ("tests/harness/bench",)),
    "capture": Room(("harness/capture/*.py",), ("tests/harness/capture",)),
    "coverage": Room(("harness/coverage/*.py",), ("tests/harness/coverage",)),
    "verdict": Room(("harness/verdict/*.py", "harness/verdict/causes/*.py"), ("tests/harness/verdict",)),
    "datasheets": Room(
        ("designs/sheets/*.py", "designs/toml_file.py", "designs/datasheet.py"),
        ("tests/designs/sheets", "tests/designs/test_toml_file.py"),
    ),
    "procedures": Room(("designs/procedures/*.py",), ("tests/designs/procedures",)),
}
#: Changes that no run can see: a frozen record is frozen for the type checker, small numbers and short texts that are
#: equal are the same object, and a name that a mutant brings in is never read.
BLIND = (
    "core/ReplaceComparisonOperator_Eq_Is",
    "core/ReplaceComparisonOperator_NotEq_IsNot",
    "core/RemoveDecorator",
    "core/ReplaceBinaryOperator_BitOr",
    "core/VariableInserter",
    "core/VariableReplacer",
)


def annotated(source: str) -> Iterator[range]:
    """Lines on which an annotation of several lines, or of one, stands."""
    for node in ast.walk(ast.parse(source)):
        found = [getattr(node, name, None) for name in ("annotation", "returns")]
        yield from (range(item.lineno, (item.end_lineno or 0) + 1) for item in found if item is not None)


def guarded(mutant: MutationSpec, source: str) -> bool:
    """Whether only a self-check goes: `strict=True` of a zip, `frozen=True` of a record."""
    line = source.splitlines()[mutant.start_pos[0] - 1]
    return mutant.operator_name.endswith("TrueWithFalse") and ("strict=True" in line or "@dataclass(" in line)


def session(room: Room, clone: Path) -> list[MutationSpec]:
    """Every mutant of a room that a run can see."""
    files = sorted(path for pattern in room.files for path in clone.glob(pattern))
    with (
        tempfile.TemporaryDirectory() as folder,
        use_db(Path(folder) / "session.sqlite", WorkDB.Mode.create) as work,
    ):
        init(files, work, {})
        found = [item.mutations[0] for item in work.work_items]
    source = {path: path.read_text("utf-8") for path in files}
    lines = {path: [*annotated(text)] for path, text in source.items()}
    blind = tuple(BLIND)
    return sorted(
        (
            mutant
            for mutant in found
            if not mutant.operator_name.startswith(blind)
            and not guarded(mutant, source[mutant.module_path])
            and not (
                "BinaryOperator" in mutant.operator_name
                and any(mutant.start_pos[0] in run for run in lines[mutant.module_path])
            )
        ),
        key=lambda mutant: (str(mutant.module_path), mutant.operator_name, mutant.occurrence),
    )


def is_python(path: Path) -> bool:
    try:
        ast.parse(path.read_text("utf-8"))
    except SyntaxError:
        return False
    return True


def difference(clone: Path) -> str:
    found = subprocess.run(
        ["git", "diff", "-U0"], cwd=clone, capture_output=True, text=True, check=True
    ).stdout
    return "\n".join(
        line for line in found.splitlines() if line[:1] in "-+" and line[:3] not in ("---", "+++")
    )


def tests_of(room: Room, clone: Path) -> tuple[str, ...]:
    """The files of the room's tests."""
    found = [
        str(path.relative_to(clone))
        for test in room.tests
        for path in ([clone / test] if test.endswith(".py") else sorted((clone / test).rglob("test_*.py")))
    ]
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True)
class Survivor:
    """A mutant as an earlier run printed it."""

    room: str
    path: str
    line: int
    operator: str
    old: str
    new: str

    @contextmanager
    def put(self, clone: Path) -> Iterator[int | None]:
        """The line at which it stands in the clone meanwhile; None if its old text is there no longer."""
        place = clone / self.path
        text = place.read_text("utf-8") if place.exists() else ""
        starts = [match.start() for match in re.finditer(f"^{re.escape(self.old)}$", text, re.MULTILINE)]
        lines = {text.count("\n", 0, start) + 1: start for start in starts}
        if not lines:
            yield None
            return
        line = min(lines, key=lambda line: abs(line - self.line))
        start = lines[line]
        place.write_text(text[:start] + self.new + text[start + len(self.old) :], "utf-8")
        try:
            yield line
        finally:
            place.write_text(text, "utf-8")


def printed(report: str) -> list[Survivor]:
    """The survivors in what an earlier run has printed."""
    found = []
    for room, path, line, operator, changed in re.findall(
        r"^(\w+), (\S+):(\d+), (\S+)\n((?:[-+].*\n)+)", report + "\n", re.MULTILINE
    ):
        old, new = ("\n".join(text[1:] for text in changed.splitlines() if text[0] == sign) for sign in "-+")
        found.append(Survivor(room, path, int(line), operator, old, new))
    return found


def say(kind: str, took: float, place: str, words: str) -> None:
    print(f"  {kind} {took:6.1f} s  {place}  {words[:90]}", flush=True)


def measured(name: str, room: Room, child: Child, kept: Path | None) -> Trial:
    files = tuple(sorted(path for pattern in room.files for path in child.clone.glob(pattern)))
    trial = Trial(child, files, tests_of(room, child.clone), kept)
    trial.measure()
    print(f"\n{name}: its tests take {trial.seconds():.1f} s of the processor", flush=True)
    return trial


def drawn(name: str, room: Room, trial: Trial, chance: random.Random, count: int) -> Counter[str]:
    """So many mutants of one room; what survives is printed."""
    clone = trial.child.clone
    mutants = session(room, clone)
    tally: Counter[str] = Counter(all=len(mutants))
    queue = chance.sample(mutants, min(count, len(mutants)))
    for mutant in queue:
        operator = get_operator(mutant.operator_name)(**mutant.operator_args)
        place = f"{mutant.module_path.relative_to(clone)}:{mutant.start_pos[0]}"
        began = time.monotonic()
        with use_mutation(mutant.module_path, operator, mutant.occurrence):
            if not is_python(
                mutant.module_path
            ):  # `**` of keywords as a division: no mutant, so another is drawn
                queue.append(chance.choice(mutants))
                continue
            changed = difference(clone)
            killer = trial.killed(mutant.module_path, mutant.start_pos[0])
        outcome = "killed" if killer else "survived"
        tally["drawn"] += 1
        tally[outcome] += 1
        say(outcome, time.monotonic() - began, place, killer or mutant.operator_name)
        if not killer:
            print(f"\n{name}, {place}, {mutant.operator_name}\n{changed}\n", flush=True)
    print(f"\n{name}: {tally['killed']} of {tally['drawn']} killed, of {tally['all']}", flush=True)
    return tally


def again(name: str, trial: Trial, survivors: list[Survivor]) -> Counter[str]:
    """The mutants of one room that survived an earlier run, those that have gone with their text left out."""
    tally: Counter[str] = Counter()
    for mutant in survivors:
        began = time.monotonic()
        with mutant.put(trial.child.clone) as line:
            killer = (
                trial.killed(trial.child.clone / mutant.path, line, whole=True)
                if line
                else "its text is gone"
            )
        outcome = ("killed" if killer else "survived") if line else "gone"
        tally["drawn"] += 1
        tally[outcome] += 1
        place = f"{mutant.path}:{line or mutant.line}"
        say(outcome, time.monotonic() - began, place, killer)
        if not killer:
            print(f"\n{name}, {place}, {mutant.operator}\n-{mutant.old}\n+{mutant.new}\n", flush=True)
    print(f"\n{name}: {tally['killed']} of {tally['drawn']} killed, {tally['gone']} gone", flush=True)
    return tally


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    wanted.add_argument("rooms", nargs="*", choices=[[], *ROOMS], help="all unless some are named")
    wanted.add_argument("--seed", type=int, default=1)
    wanted.add_argument("--count", type=int, default=30, help="mutants of each room")
    wanted.add_argument("--again", type=Path, metavar="FILE", help="the survivors that a run has printed")
    wanted.add_argument("--keep", type=Path, metavar="FOLDER", help="where what tests reach is kept")
    asked = wanted.parse_args()
    if asked.keep:
        asked.keep.mkdir(parents=True, exist_ok=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that what is running ends too
    survivors = printed(asked.again.read_text("utf-8")) if asked.again else []
    if not survivors:
        print(f"seed {asked.seed}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        clone = Path(folder) / "clone"
        subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
        child = Child(clone, Path(folder) / "cache")
        total: Counter[str] = Counter()
        for name in asked.rooms or ROOMS:
            own = [mutant for mutant in survivors if mutant.room == name]
            if own:
                total += again(name, measured(name, ROOMS[name], child, asked.keep), own)
            elif not survivors:
                chance = random.Random(f"{asked.seed}/{name}")
                trial = measured(name, ROOMS[name], child, asked.keep)
                total += drawn(name, ROOMS[name], trial, chance, asked.count)
    print(
        f"all: {total['killed']} of {total['drawn']} killed, {total['killed'] / max(total['drawn'], 1):.1%}"
    )


if __name__ == "__main__":
    main()
