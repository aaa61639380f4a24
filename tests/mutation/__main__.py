"""Do the tests bite? Draws mutants of the rooms and runs each room's own tests on them: `python -m tests.mutation`.

The mutants are those of a session of `cosmic-ray` over the files of a room, drawn by a printed seed. Each is put into
a clone of the last commit, so that nothing here changes, and the room's own tests run on it until one fails. What
survives is printed as a difference: either it is equivalent (its reason stands in README.md beside this file), or a
test is missing.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.commands.init import init
from cosmic_ray.mutating import use_mutation
from cosmic_ray.plugins import get_operator
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import MutationSpec

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Room:
    """Files (by pattern, of the checkout) and the tests that answer for them, the quickest first."""

    files: tuple[str, ...]
    tests: tuple[str, ...]


ROOMS = {
    "folding": Room(("sim/compile/fold.py",), ("tests/sim/compile/test_fold.py", "tests/sim/compile")),
    "updates": Room(
        ("sim/compile/update.py", "sim/compile/loop.py"), ("tests/sim/compile", "tests/sim/test_settling.py")
    ),
    "memories": Room(
        ("sim/compile/memories.py", "sim/gates/memories.py"), ("tests/sim/compile", "tests/sim/gates")
    ),
    "lanes": Room(("sim/lanes/*.py",), ("tests/sim/lanes",)),
    "proof": Room(("sim/proof/*.py",), ("tests/sim/proof",)),
    "golden": Room(("harness/golden/*.py",), ("tests/harness/golden",)),
    "hand": Room(("harness/hand/*.py",), ("tests/harness/hand",)),
    "bench": Room(("harness/bench/*.py",), ("tests/harness/bench",)),
    "capture": Room(("harness/capture/*.py",), ("tests/harness/capture",)),
    "verdict": Room(("harness/verdict/*.py",), ("tests/harness/verdict",)),
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


def nearest_first(room: Room, clone: Path, module: Path | None) -> list[str]:
    """The files of the room's tests, those that name the mutated module first."""
    found = {
        str(path.relative_to(clone)): path.read_text("utf-8")
        for test in room.tests
        for path in ([clone / test] if test.endswith(".py") else sorted((clone / test).rglob("test_*.py")))
        if path.exists()
    }
    stem = module.stem if module else ""
    named = re.compile(rf"^(from|import) .*\b{stem}\b", re.MULTILINE)
    return sorted(found, key=lambda test: (f"test_{stem}.py" not in test, not named.search(found[test])))


def killed(room: Room, clone: Path, seconds: float, module: Path | None = None) -> bool:
    """Whether a test of the room fails, or takes longer than all of them may."""
    tests = nearest_first(room, clone, module)
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(clone / ".typing"), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command, cwd=clone, env=environment, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode != 0


def difference(clone: Path) -> str:
    found = subprocess.run(
        ["git", "diff", "-U0"], cwd=clone, capture_output=True, text=True, check=True
    ).stdout
    return "\n".join(
        line for line in found.splitlines() if line[:1] in "-+" and line[:3] not in ("---", "+++")
    )


def run(name: str, room: Room, clone: Path, chance: random.Random, count: int) -> Counter[str]:
    """So many mutants of one room; what survives is printed."""
    mutants = session(room, clone)
    began = time.monotonic()
    if killed(room, clone, 3600):
        raise SystemExit(f"{name}: its tests fail without any mutant")
    seconds = 60 + 5 * (time.monotonic() - began)
    tally: Counter[str] = Counter(all=len(mutants))
    for mutant in chance.sample(mutants, min(count, len(mutants))):
        operator = get_operator(mutant.operator_name)(**mutant.operator_args)
        with use_mutation(mutant.module_path, operator, mutant.occurrence):
            changed = difference(clone)
            outcome = "killed" if killed(room, clone, seconds, mutant.module_path) else "survived"
        tally["drawn"] += 1
        tally[outcome] += 1
        if outcome == "survived":
            place = f"{mutant.module_path.relative_to(clone)}:{mutant.start_pos[0]}"
            print(f"\n{name}, {place}, {mutant.operator_name}\n{changed}", flush=True)
    print(f"\n{name}: {tally['killed']} of {tally['drawn']} killed, of {tally['all']}", flush=True)
    return tally


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    wanted.add_argument("rooms", nargs="*", choices=[[], *ROOMS], help="all unless some are named")
    wanted.add_argument("--seed", type=int, default=1)
    wanted.add_argument("--count", type=int, default=30, help="mutants of each room")
    asked = wanted.parse_args()
    print(f"seed {asked.seed}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        clone = Path(folder) / "clone"
        subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
        total: Counter[str] = Counter()
        for name in asked.rooms or ROOMS:
            total += run(name, ROOMS[name], clone, random.Random(f"{asked.seed}/{name}"), asked.count)
    print(
        f"all: {total['killed']} of {total['drawn']} killed, {total['killed'] / max(total['drawn'], 1):.1%}"
    )


if __name__ == "__main__":
    main()
