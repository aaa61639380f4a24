"""Two judges of claims about values that are left open: draws under Icarus Verilog, and the chip that Yosys makes."""

from __future__ import annotations

import random
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from forelight.harness.bench.powerups import Sample, sampled_power_ups
from forelight.sim import Simulation
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil.reader import parse
from forelight.sim.undefined.opened import opened
from numpy.typing import NDArray

from ...sim.icarus import run
from .whole_runs import prove

POWER_UPS = 256
#: Draws of every open value, and of every register at power-up, by each judge.
DRAWS = 64
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Claims:
    """Of each row, that of power-up first: the outputs, and masks of the bits that are proved and sampled."""

    outputs: Bytes
    proved: Bytes
    sampled: Bytes


def stimulus(seed: int, updates: int) -> NDArray[np.uint16]:
    """A reset with an edge, then data that moves while the clock stands, and a clock that moves alone."""
    rng, now, found = random.Random(seed), 0, [0x40, 0xC0, 0x40, 0x00]
    while len(found) < updates:
        moved = rng.random()
        if moved < 0.5:
            now ^= 0x80
        elif moved < 0.55:
            now ^= 0x40
        else:
            now = now & 0xC0 | rng.getrandbits(6)
        found.append(now)
    return np.array(found[:updates], np.uint16)


def claims(netlist: Netlist, values: NDArray[np.uint16], seed: int) -> Claims:
    """What is claimed of a design with the ports `inputs` and `outputs`."""
    found = opened(netlist)
    power_ups = sampled_power_ups(POWER_UPS, seed)
    sample = Sample(Simulation(found.drawn), power_ups, seed, len(values), found.free)
    sample.extend(values)
    proved = prove(found.netlist, values).bits
    return Claims(sample.outputs, proved, ~sample.differ & ~proved)


_BENCH = """
module bench;
  reg [7:0] inputs = 0;
  wire [{top}:0] outputs;
  genvar n;
  generate for (n = 0; n < {draws}; n = n + 1) begin : drawn
    {name} one(inputs, outputs[8*n +: 8]);
  end endgenerate
  initial begin #1 $display("%h", outputs);{moves} end
endmodule
"""


def by_icarus(source: Path, name: str, values: NDArray[np.uint16], folder: Path) -> Bytes:
    """Outputs under draws: a row for power-up and for each of `values`, a column for each of `DRAWS`."""
    moves = "".join(f'\n  inputs = 8\'h{value:02x}; #1 $display("%h", outputs);' for value in values.tolist())
    bench = folder / f"{name}_bench.v"
    bench.write_text(_BENCH.format(top=8 * DRAWS - 1, draws=DRAWS, name=name, moves=moves))
    lines = run([source, bench], "bench", folder, define={"DRAWN": 1}).split()
    return np.array([list(bytes.fromhex(line)) for line in lines], np.uint8)


_WAKING = """
module bench;
  reg [7:0] inputs = 0;
  wire [{top}:0] outputs;
  genvar n;
  generate for (n = 0; n < {draws}; n = n + 1) begin : drawn
    {name} one(.inputs(inputs), .outputs(outputs[8*n +: 8]));
  end endgenerate
  initial begin
    #1{wakes}
    #1 $display("%b", outputs);{moves}
  end
endmodule
"""


def by_icarus_waking(
    sources: Sequence[Path], top: str, registers: Mapping[str, int], values: NDArray[np.uint16], folder: Path
) -> Bytes:
    """As `by_icarus`, of a source without the macro: its `registers`, by path and width, take draws as it wakes up.

    Nothing else may be open: an x or z that reaches an output fails.
    """
    paths = {".".join(f"\\{part} " for part in path.split(".")): width for path, width in registers.items()}
    wakes = "".join(
        f"\n    drawn[{n}].one.{path} = {_draw(width)};"
        for n in range(DRAWS)
        for path, width in paths.items()
    )
    moves = "".join(
        f'\n    inputs = 8\'h{value:02x}; #1 $display("%b", outputs);' for value in values.tolist()
    )
    bench = folder / "bench.v"
    bench.write_text(_WAKING.format(top=8 * DRAWS - 1, draws=DRAWS, name=top, wakes=wakes, moves=moves))
    include = [source.parent for source in sources]
    lines = run([*sources, bench], "bench", folder, include=include, standard="2005").split()
    assert not any(set(line) - {"0", "1"} for line in lines), f"{top}: something else is open"
    return np.array([list(int(line, 2).to_bytes(DRAWS)) for line in lines], np.uint8)


def _draw(width: int) -> str:
    return f"{{{', '.join(['$random'] * -(-width // 32))}}}"


def waking(text: str) -> str:
    """A text that Yosys wrote, in which every register of every module takes a draw as it wakes up."""
    modules = []
    for module in text.split("endmodule"):
        widths = {
            name: int(high or 0) + 1
            for high, name in re.findall(r"^\s*reg (?:\[(\d+):0\] )?(\S+) *(?:=.*)?;$", module, re.MULTILINE)
        }
        names = set(re.findall(r"^\s*(?:else |if \(.*\) )?(\S+)\s+(?:\[.*\] )?<= .*;$", module, re.MULTILINE))
        wakes = (f"  initial #1 {name}  = {_draw(widths[name])};\n" for name in sorted(names))
        modules.append(module + "".join(wakes))
    return "endmodule".join(modules)


_YOSYS = """
import sys
from pyosys import libyosys
design = libyosys.Design()
for command in sys.argv[1:]:
    libyosys.run_pass(command, design)
"""


def yosys(*commands: str) -> None:
    """Carry out commands of Yosys, in a process of its own."""
    subprocess.run([sys.executable, "-c", _YOSYS, *commands], check=True, timeout=600, capture_output=True)


def chip(read: str, name: str, folder: Path) -> Netlist:
    """The gates that Yosys' `synth` makes of a module, which `read` reads; a chip knows no initial values."""
    made = folder / f"{name}.chip.il"
    yosys(read, "setattr -unset init w:*", f"synth -flatten -top {name}", f"write_rtlil {made}")
    return parse(made.read_text())


def by_chip(netlist: Netlist, values: NDArray[np.uint16], seed: int) -> Bytes:
    """Outputs of the chip from random power-ups, as `by_icarus` gives them."""
    sim, rng = Simulation(netlist), random.Random(f"chip {seed}")
    columns = []
    for _ in range(DRAWS):
        sim.power_cycle(rng)
        sim.settle()
        first = np.array([sim.get("outputs")], np.uint8)
        columns.append(np.concatenate((first, sim.run_samples("inputs", values, "outputs").astype(np.uint8))))
    return np.stack(columns, axis=1)


@dataclass
class Tally:
    """Bits of claims against one judge."""

    bits: int = 0
    proved: int = 0
    sampled: int = 0
    proved_contradicted: int = 0
    sampled_contradicted: int = 0
    never_differ: int = 0

    def add(self, claimed: Claims, judged: Bytes) -> None:
        """`judged` has a row for each of the claims, a column for each draw."""
        unlike = np.bitwise_or.reduce(judged ^ claimed.outputs[:, None], axis=1)
        moving = np.bitwise_or.reduce(judged ^ judged[:, :1], axis=1)
        self.bits += 8 * len(unlike)
        for name, mask in (("proved", claimed.proved), ("sampled", claimed.sampled)):
            vars(self)[name] += _count(mask)
            vars(self)[f"{name}_contradicted"] += _count(mask & unlike)
        self.never_differ += _count(~(claimed.proved | claimed.sampled) & ~moving)

    def __str__(self) -> str:
        return (
            f"{self.bits} bits: {self.proved} proved, of which {self.proved_contradicted} contradicted; "
            f"{self.sampled} sampled, of which {self.sampled_contradicted} contradicted; "
            f"{self.never_differ} unsettled that never differ"
        )


def _count(masks: NDArray[Any]) -> int:
    return int(np.bitwise_count(masks.astype(np.uint8)).sum())
