"""Wheel and source archive are whole, and type checkers resolve the face of an installed Forelight."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("sim", "designs", "harness")
USE = """\
import forelight
from forelight.harness.boards.profile import Board
from forelight.sim import Simulation

tide = forelight.predict("tide_gauge", steps=3)
shown: str = tide.at(1).shown
kind: str = forelight.check(tide, "eye.csv").kind
share: float = forelight.coverage("dice", seconds=1).share
board: Board = forelight.load_board("quay")
simulation: Simulation = forelight.Simulation(forelight.read("tide_gauge"))
version: str = forelight.__version__
wrong: int = tide.at(1).shown
"""


def run(*order: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(order, cwd=cwd, capture_output=True, text=True, check=False)


@pytest.mark.slow
def test_wheel_and_source_archive_hold_every_file(tmp_path: Path) -> None:
    pytest.importorskip("build")
    listed = run("git", "ls-files", cwd=ROOT)
    if listed.returncode:
        pytest.skip("not a git checkout")
    tree = tmp_path / "tree"
    run("git", "clone", "-q", str(ROOT), str(tree), cwd=tmp_path)
    made = run(sys.executable, "-m", "build", "--no-isolation", "-o", str(tmp_path / "out"), cwd=tree)
    assert made.returncode == 0, made.stdout + made.stderr
    tracked = run("git", "ls-files", cwd=tree).stdout.splitlines()
    (wheel,), (archive,) = (tmp_path / "out").glob("*.whl"), (tmp_path / "out").glob("*.tar.gz")
    with zipfile.ZipFile(wheel) as packed:
        held = set(packed.namelist())
        points = next(name for name in held if name.endswith("entry_points.txt"))
        said = packed.read(points).decode()
    assert {f"forelight/{name}" for name in tracked if name.split("/")[0] in ROOMS} <= held
    assert {"forelight/__init__.py", "forelight/py.typed"} <= held
    assert "forelight = forelight.harness.scripting.pytest_plugin" in said
    with tarfile.open(archive) as source:
        names = {name.partition("/")[2] for name in source.getnames()}
    assert set(tracked) <= names


@pytest.mark.slow
@pytest.mark.parametrize("checker", ["mypy", "pyright"])
def test_type_checkers_resolve_the_face(checker: str, tmp_path: Path) -> None:
    pytest.importorskip(checker)
    (tmp_path / "use.py").write_text(USE)
    (tmp_path / "pyrightconfig.json").write_text(f'{{"extraPaths": ["{(ROOT / ".typing").as_posix()}"]}}')
    environment = {**os.environ, "MYPYPATH": str(ROOT / ".typing")}
    order = [
        sys.executable,
        "-m",
        checker,
        *(["--ignore-missing-imports"] if checker == "mypy" else []),
        "use.py",
    ]
    found = subprocess.run(order, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    # All resolves, so that the one slip, in the last line, is found and nothing else.
    mine = [line for line in found.stdout.splitlines() if "use.py:" in line and "error" in line]
    assert len(mine) == 1 and "use.py:12" in mine[0], found.stdout + found.stderr


def test_the_face_is_quick_and_names_all_that_it_has() -> None:
    script = (
        "import sys, forelight; assert 'numpy' not in sys.modules and 'click' not in sys.modules; "
        "assert set(dir(forelight)) == set(forelight.__all__); "
        "print(*(getattr(forelight, name) is not None for name in forelight.__all__))"
    )
    done = run(sys.executable, "-c", script, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    assert set(done.stdout.split()) == {"True"}
