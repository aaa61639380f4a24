"""One circuit under Icarus Verilog and under Forelight with the same input rows, compared at every known
bit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from forelight.sim import Simulation
from forelight.sim.netlist import Netlist
from numpy.typing import NDArray

from ..icarus import run

Rows = Sequence[Mapping[str, int]]
Characters = NDArray[np.uint8]


@dataclass(frozen=True)
class Tally:
    """What a comparison covered: rows, output bits known and compared, output bits in all; lines that
    moved."""

    name: str
    registers: int
    rows: int
    compared: int
    bits: int
    moved: int
    lines: int

    def __str__(self) -> str:
        share = 100 * self.compared / self.bits
        return (
            f"{self.name:<14} {self.registers:>4} flip-flops {self.rows:>6} rows"
            f" {self.compared:>9,} of {self.bits:>9,} bits compared ({share:.1f} %),"
            f" {self.moved} of {self.lines} output lines moved"
        )


def flip_flops(netlist: Netlist) -> int:
    """Bits of registers; memories are not counted."""
    return sum(register.width for register in netlist.registers)


@dataclass(frozen=True)
class Design:
    """Verilog sources as Icarus takes them; each register in `cleared` is set to 0 before the first row.

    `start` holds Verilog statements that run before the first row is shown; what they print of `differs ...` fails.
    """

    sources: Sequence[Path]
    top: str
    include: Sequence[Path] = ()
    define: Mapping[str, object] = field(default_factory=dict)
    cleared: Sequence[str] = ()
    start: str = ""


def undefined_registers(netlist: Netlist) -> list[str]:
    """Those whose first state the source leaves open: Icarus has x there, Forelight 0."""
    return [register.name for register in netlist.registers if register.init.undefined]


def testbench(design: Design, inputs: Mapping[str, int], outputs: Mapping[str, int], count: int) -> str:
    """Verilog that plays `rows.txt` (a line of bits a row, first input highest) and prints all outputs.

    A row lasts ten units of time: some sources have delays of one.
    """
    ports, wires, high = [], [], sum(inputs.values())
    for number, (name, width) in enumerate(inputs.items()):
        wires.append(f"wire [{width - 1}:0] i{number} = row[{high - 1}:{high - width}];")
        ports.append(f".\\{name} (i{number})")
        high -= width
    for number, (name, width) in enumerate(outputs.items()):
        wires.append(f"wire [{width - 1}:0] o{number};")
        ports.append(f".\\{name} (o{number})")
    total, shown = sum(inputs.values()), ", ".join(f"o{number}" for number in range(len(outputs)))
    return f"""
module bench;
  reg [{total - 1}:0] rows [0:{count - 1}];
  reg [{total - 1}:0] row;
  {" ".join(wires)}
  integer at;
  \\{design.top} dut ({", ".join(ports)});
  initial begin
    {" ".join(f"dut.{name} = 0;" for name in design.cleared)}
    $readmemb("rows.txt", rows);
    {design.start}
    for (at = 0; at < {count}; at = at + 1) begin
      row = rows[at];
      #10 $display("row %b", {{{shown}}});
    end
    $finish;
  end
endmodule
"""


def under_icarus(
    design: Design, inputs: Mapping[str, int], outputs: Mapping[str, int], rows: Rows, folder: Path
) -> Characters:
    """A row of characters (`0`, `1`, `x`, `z`) for each input row, the first output leftmost."""
    lines = ("".join(f"{row[name]:0{width}b}" for name, width in inputs.items()) for row in rows)
    (folder / "rows.txt").write_text("\n".join(lines) + "\n")
    bench = folder / "bench.v"
    bench.write_text(testbench(design, inputs, outputs, len(rows)))
    printed = run([*design.sources, bench], "bench", folder, include=design.include, define=design.define)
    differs = [line for line in printed.splitlines() if line.startswith("differs ")]
    assert not differs, "\n".join(differs)
    # Sources may print, too.
    shown = (line.removeprefix("row ") + "\n" for line in printed.splitlines() if line.startswith("row "))
    return _characters("".join(shown), outputs)


def under_forelight(sim: Simulation, rows: Rows) -> Characters:
    """The same from Forelight, one update a row."""
    before: Mapping[str, int] = {}
    lines = []
    for row in rows:
        sim.set_many({name: value for name, value in row.items() if before.get(name) != value})
        sim.settle()
        lines.append("".join(f"{sim.get(name):0{width}b}" for name, width in sim.outputs.items()))
        before = row
    return _characters("\n".join(lines) + "\n", sim.outputs)


def _characters(lines: str, outputs: Mapping[str, int]) -> Characters:
    width = sum(outputs.values())
    return np.frombuffer(lines.encode(), np.uint8).reshape(-1, width + 1)[:, :width]


def compare(netlist: Netlist, design: Design, rows: Rows, folder: Path, *, skip: int = 0) -> Tally:
    """Compare all rows but the first `skip`; AssertionError names the first output bit that differs."""
    sim = Simulation(netlist, power_up="init")
    theirs = under_icarus(design, sim.inputs, sim.outputs, rows, folder)[skip:]
    ours = under_forelight(sim, rows)[skip:]
    known = (theirs == ord("0")) | (theirs == ord("1"))
    wrong = np.argwhere(known & (theirs != ours))
    if len(wrong):
        at, bit = (int(number) for number in wrong[0])
        recent = "\n".join(str(row) for row in rows[max(0, skip + at - 4) : skip + at + 1])
        raise AssertionError(
            f"{design.top}: {len(wrong)} bits differ, first {_name_of(bit, sim.outputs)} at row {skip + at}: Icarus "
            f"{theirs[at].tobytes().decode()}, Forelight {ours[at].tobytes().decode()}, inputs\n{recent}"
        )
    return tally(design.top, netlist, ours, known)


def tally(name: str, netlist: Netlist, ours: Characters, known: NDArray[np.bool_]) -> Tally:
    moved = int(((ours == ord("0")).any(axis=0) & (ours == ord("1")).any(axis=0)).sum())
    return Tally(name, flip_flops(netlist), len(ours), int(known.sum()), known.size, moved, ours.shape[1])


def _name_of(bit: int, outputs: Mapping[str, int]) -> str:
    for name, width in outputs.items():
        if bit < width:
            return f"{name}[{width - 1 - bit}]"
        bit -= width
    raise IndexError(bit)
