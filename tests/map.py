"""Prints every file of the rooms with its purpose: `python -m tests.map [FOLDER]`."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("sim", "designs", "harness")
#: Contributions are sources that Forelight reads, not code of its own.
CATALOGUE = ROOT / "designs" / "breakwater"


def sources(room: str) -> list[Path]:
    """The room's own Python files, in order of folders."""
    files = (ROOT / room).rglob("*.py")
    own = (p for p in files if not p.is_relative_to(CATALOGUE) or p.parent == CATALOGUE)
    return sorted(own, key=lambda p: (p.parent, p.name))


def purpose(path: Path) -> str:
    """The first line of a file's docstring."""
    text = ast.get_docstring(ast.parse(path.read_text("utf-8")))
    assert text, f"{path.relative_to(ROOT)} does not say its purpose"
    return text.splitlines()[0]


def written(below: Path) -> Iterator[str]:
    """A line for each folder, with its purpose, and below it a line for each of its files."""
    for room in ROOMS:
        for path in sources(room):
            if not path.is_relative_to(below):
                continue
            if path.name == "__init__.py":
                yield f"{path.parent.relative_to(ROOT)}/  {purpose(path)}"
            else:
                yield f"    {path.stem:16} {purpose(path)}"


if __name__ == "__main__":
    print("\n".join(written(ROOT.joinpath(*sys.argv[1:]))))
