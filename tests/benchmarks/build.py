"""Builds the circuits for the engines that compile ahead of time, in a folder that the caller throws away."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from .circuits import CIRCUITS
from .design import rtlil

HERE = Path(__file__).parent
AROUND = HERE / "around"

#: What the C and C++ compilers are asked for in the benchmark.
FAST = ("-O3", "-march=native")

#: One Yosys for all circuits, in a process of its own: it prints much, and a fault in it ends only the child.
#: `-g0` leaves out CXXRTL's tables for debuggers, which only cost time to compile.
YOSYS = """
import sys
from pyosys import libyosys as ys
for name in sys.argv[1:]:
    design = ys.Design()
    for command in ("read_rtlil {0}.il", "hierarchy -top {0}", "proc", "flatten", "write_verilog -noattr {0}.v",
                    "write_cxxrtl -O6 -g0 {0}.cc"):
        ys.run_pass(command.format(name), design)
"""

#: Verilator with the switches that its manual gives for the fastest model; lint has no place here.
VERILATOR = ("verilator", "--cc", "-O3", "--x-assign", "fast", "--x-initial", "fast", "--noassert")
QUIET = ("-Wno-fatal", "-Wno-lint", "-Wno-style")


@dataclass(frozen=True)
class Maker:
    """How an engine's models are made: by `tool`, from `source`.

    The source is `c`, `hand` (Verilog written by hand) or `yosys` (what Yosys makes of the design in Amaranth).
    """

    name: str
    tool: str
    source: str

    def missing(self) -> str | None:
        """Why this cannot be built on this machine, or None."""
        tools = {"iverilog": ["iverilog", "vvp"], "verilator": ["verilator", "g++"], "cxxrtl": ["g++"]}
        absent = [tool for tool in [*tools.get(self.tool, []), "gcc"] if shutil.which(tool) is None]
        if self.source == "yosys" and importlib.util.find_spec("pyosys") is None:
            absent.append("pyosys")
        return f"not installed: {', '.join(absent)}" if absent else None


PLAIN_C = Maker("plain C", "gcc", "c")
MAKERS = (
    Maker("Icarus, from Yosys", "iverilog", "yosys"),
    Maker("Icarus, by hand", "iverilog", "hand"),
    Maker("Verilator, from Yosys", "verilator", "yosys"),
    Maker("Verilator, by hand", "verilator", "hand"),
    Maker("CXXRTL", "cxxrtl", "yosys"),
    PLAIN_C,
)


class Workshop:
    """A folder with the built models of some makers."""

    def __init__(self, folder: Path, flags: Sequence[str] = FAST) -> None:
        self.folder = folder
        self.flags = flags

    def build(self, makers: Sequence[Maker], circuits: Sequence[str]) -> None:
        """Build the circuits by each of the makers, as many at once as there are cores."""
        self.prepare(makers, circuits)
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for done in [pool.submit(self.model, maker, name) for maker in makers for name in circuits]:
                done.result()

    def prepare(self, makers: Sequence[Maker], circuits: Sequence[str]) -> None:
        """Make what the models of these makers have in common."""
        steps = [partial(self._run, "gcc", *self.flags, "-c", AROUND / "main.c", "-o", "main.o")]
        if any(maker.source == "yosys" for maker in makers):
            steps.append(partial(self._yosys, circuits))
        if any(maker.tool == "verilator" for maker in makers):
            steps += [partial(self._verilator_part, part) for part in ("verilated", "verilated_threads")]
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for done in [pool.submit(step) for step in steps]:
                done.result()

    def model(self, maker: Maker, name: str) -> None:
        """Build one circuit by one maker."""
        target = self._target(maker, name)
        verilog = HERE / "verilog" / f"{name}.v" if maker.source == "hand" else self.folder / f"{name}.v"
        match maker.tool:
            case "gcc":
                self._run("gcc", *self.flags, HERE / "c" / f"{name}.c", "main.o", "-o", target)
            case "iverilog":
                self._run("iverilog", f"-DCIRCUIT={name}", "-o", target, AROUND / "testbench.v", verilog)
            case "cxxrtl":
                sources = [self.folder / f"{name}.cc", AROUND / "cxxrtl_model.cpp"]
                self._one_unit(target, f"cxxrtl_design::p_{name}", sources, f"-I{cxxrtl_runtime()}")
            case "verilator":
                made = self.folder / f"{target.name}.made"
                self._run(
                    *VERILATOR, *QUIET, "--prefix", f"V{name}", "--top-module", name, "--Mdir", made, verilog
                )
                include = self._verilator_include()
                switches = [f"-I{path}" for path in (made, include, include / "vltstd")]
                parts = ["verilated.o", "verilated_threads.o", "-pthread"]
                sources = [*sorted(made.glob("*.cpp")), AROUND / "verilated_model.cpp"]
                self._one_unit(target, f"V{name}", sources, *switches, *parts)

    def command(self, maker: Maker, circuit: str, stimulus: Path | None = None) -> list[str]:
        """The command line that starts a built model; `stimulus` is a file with the bytes for `sampled`."""
        model = str(self._target(maker, circuit))
        if maker.tool == "iverilog":
            return ["vvp", "-n", model, *([f"+samples={stimulus}"] if stimulus else [])]
        return [model, *([str(stimulus)] if stimulus else [])]

    def _target(self, maker: Maker, circuit: str) -> Path:
        return self.folder / f"{circuit}_{maker.tool}_{maker.source}"

    def _run(self, *command: str | Path) -> str:
        done = subprocess.run(command, cwd=self.folder, capture_output=True, text=True, check=False)
        if done.returncode:
            raise RuntimeError(f"{' '.join(map(str, command))}\n{done.stdout}{done.stderr}")
        return done.stdout

    def _yosys(self, circuits: Sequence[str]) -> str:
        for circuit in (circuit for circuit in CIRCUITS if circuit.name in circuits):
            (self.folder / f"{circuit.name}.il").write_text(rtlil(circuit.design(), circuit.name))
        return self._run(sys.executable, "-c", YOSYS, *circuits)

    def _verilator_include(self) -> Path:
        return Path(self._run("verilator", "--getenv", "VERILATOR_ROOT").strip()) / "include"

    def _verilator_part(self, part: str) -> str:
        include = self._verilator_include()
        source = include / f"{part}.cpp"
        return self._run(
            "g++", *self.flags, f"-I{include}", f"-I{include}/vltstd", "-c", source, "-o", f"{part}.o"
        )

    def _one_unit(self, target: Path, model: str, sources: Sequence[Path], *switches: str) -> None:
        """Compile generated sources and the loop around them as one unit: the compiler may inline across them."""
        unit = target.with_suffix(".cpp")
        unit.write_text("".join(f'#include "{path}"\n' for path in sources))
        # Objects among the switches come after the unit, as the linker wants them.
        self._run(
            "g++", *self.flags, f"-DMODEL={model}", f"-I{AROUND}", unit, *switches, "main.o", "-o", target
        )


def cxxrtl_runtime() -> Path:
    """The folder of CXXRTL's headers, which come with Yosys."""
    found = importlib.util.find_spec("pyosys")
    assert found is not None and found.submodule_search_locations
    return Path(found.submodule_search_locations[0]) / "share/include/backends/cxxrtl/runtime"
