"""Where the circuits from outside lie, and which modules of a file are circuits of their own.

Debian's source package `yosys` (its tests), and PyPI's `circuitgraph`, `pythondata-cpu-serv` and
`pythondata-cpu-picorv32`; `.ci/run` fetches them. Nothing of them is kept in the project.
"""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

#: The folder of the unpacked source package; a test without it is skipped.
FOLDER = os.environ.get("FORELIGHT_OUTSIDE", "")
#: Folders of its tests that hold circuits.
_TESTS = (
    "simple",
    "asicworld",
    "hana",
    "memories",
    "sim",
    "various/dynamic_part_select",
    "arch/common",
    "opt",
)
#: The largest gate-level netlist that is taken, in bytes: beyond, compiling takes too long for a test.
_LARGEST = 150_000
#: A library of cells for the file named here; by itself it is none of the circuits.
_LIBRARY, _NEEDS_LIBRARY = "hana_vlib.v", "test_simulation_vlib.v"
_PUBLISHED = Path(__file__).parent.parent / "fidelity" / "published"


@dataclass(frozen=True)
class File:
    """A file of circuits, those beside it that they need, and its place in the tables."""

    label: str
    path: Path
    beside: tuple[Path, ...] = ()

    def __str__(self) -> str:
        return self.label


def files() -> list[File]:
    """All files that are there on this machine."""
    return [*_of_yosys(), *_of_circuitgraph(), *_of_processors()]


def _of_yosys() -> Iterator[File]:
    for root in sorted(Path(FOLDER).glob("yosys*/tests")) if FOLDER else ():
        for folder in _TESTS:
            for path in sorted((root / folder).iterdir()):
                # Test benches are programs around a circuit, not circuits.
                if path.suffix not in (".v", ".sv") or path.stem.endswith("_tb") or path.name == _LIBRARY:
                    continue
                library = (path.with_name(_LIBRARY),) if path.name == _NEEDS_LIBRARY else ()
                yield File(f"yosys {folder}/{path.name}", path, library)


def _of_circuitgraph() -> Iterator[File]:
    folder = _package("circuitgraph")
    flip_flop = (_PUBLISHED / "flip_flop.v",)
    for path in sorted((folder / "netlists").glob("*.v")) if folder else ():
        if path.stat().st_size < _LARGEST:
            yield File(f"circuitgraph {path.name}", path, flip_flop if path.stem == "s27" else ())


def _of_processors() -> Iterator[File]:
    folder = _package("pythondata_cpu_serv")
    rtl = sorted((folder / "verilog" / "rtl").glob("*.v")) if folder else []
    for path in rtl:
        yield File(f"serv {path.name}", path, tuple(other for other in rtl if other != path))
    folder = _package("pythondata_cpu_picorv32")
    if folder:
        verilog = folder / "verilog"
        yield File("picorv32 picorv32.v", verilog / "picorv32.v")
        for name in ("picosoc/simpleuart.v", "picosoc/spimemio.v", "picosoc/ice40up5k_spram.v"):
            yield File(f"picorv32 {name}", verilog / name)
        yield File("picorv32 picosoc/picosoc.v", verilog / "picosoc" / "picosoc.v", _around(verilog))


def _around(verilog: Path) -> tuple[Path, ...]:
    soc = verilog / "picosoc"
    return (verilog / "picorv32.v", soc / "simpleuart.v", soc / "spimemio.v")


def _package(name: str) -> Path | None:
    spec = importlib.util.find_spec(name)
    return Path(spec.origin).parent if spec and spec.origin else None


_NOISE = re.compile(r'//[^\n]*|/\*.*?\*/|"(?:[^"\\\n]|\\.)*"|\(\*.*?\*\)', re.DOTALL)
_MODULE = re.compile(
    r"\b(?:module|macromodule)\s+(?:automatic\s+|static\s+)?(\\\S+|\w+).*?\bendmodule\b", re.DOTALL
)


class Text:
    """A file of circuits and what they need as one Verilog text after its directives, with its modules by name."""

    def __init__(self, file: File, folder: Path) -> None:
        self.text = _expanded([file.path, *file.beside], folder)
        bare = _bare(self.text)
        # With what stands before it since the last module or directive: its attributes.
        self.spans = {
            match[1]: (len(bare[: match.start()].rstrip()), match.end()) for match in _MODULE.finditer(bare)
        }
        self.uses = {
            name: [
                other
                for other in self.spans
                if other != name and _instance(other).search(bare, bare.index(name, start) + 1, end)
            ]
            for name, (start, end) in self.spans.items()
        }
        alone = _bare(_expanded([file.path], folder)) if file.beside else bare
        self.own = [match[1] for match in _MODULE.finditer(alone)]

    def tops(self) -> list[str]:
        """Modules of the file that no other module of it uses."""
        used = {name for user in self.own for name in self.uses[user]}
        return [name for name in self.own if name not in used]

    def only(self, top: str) -> str:
        """The text without the modules that `top` does not need: Icarus refuses some of them."""
        needed, work = set(), [top]
        while work:
            name = work.pop()
            if name not in needed:
                needed.add(name)
                work += self.uses[name]
        kept = self.text
        for name, (start, end) in sorted(self.spans.items(), key=lambda item: -item[1][0]):
            if name not in needed:
                kept = kept[:start] + kept[end:]
        return kept


def _expanded(paths: Sequence[Path], folder: Path) -> str:
    made = folder / "expanded.v"
    command = ["iverilog", "-E", "-g2009", f"-I{paths[0].parent}", "-o", str(made), *map(str, paths)]
    subprocess.run(command, check=True, timeout=60, capture_output=True)
    return made.read_text(errors="replace")


def _bare(text: str) -> str:
    """The text with blanks in place of comments, strings and attributes."""
    return _NOISE.sub(lambda match: " " * len(match[0]), text)


def _instance(module: str) -> re.Pattern[str]:
    """An instance of a module: its name, parameters or the name of the instance, and ports."""
    named = r"(?:\\\S+\s|[A-Za-z_]\w*\s*(?:\[[^\]]*\]\s*)?\()"
    return re.compile(rf"(?<![\w\\.$]){re.escape(module)}\s*(?:#|{named})")
