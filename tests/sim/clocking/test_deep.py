"""Chains of 50,000 gates, and of 50,000 registers that clock one another, come out right; a ring of 50,000 is named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.designs import read
from forelight.harness.cli import cli
from forelight.sim import Simulation
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil.reader import parse

from tests.sizes import sized

DEEP = sized(2_000, 50_000)
#: Chains that compile in seconds, and the full size.
LENGTHS = [1000, pytest.param(DEEP, marks=pytest.mark.slow)]


def gates_in_rtlil(length: int) -> str:
    """Exclusive ors in a row: each takes one of eight input lines in, so none can be left out."""
    lines = ["module \\deep", "wire width 8 input 1 \\inputs", "wire width 8 output 2 \\outputs"]
    lines += [f"wire width {length + 1} \\n", "connect \\n [0] \\inputs [0]"]
    for gate in range(length):
        lines += [f"cell $_XOR_ $g{gate}", f"connect \\A \\n [{gate}]", f"connect \\B \\inputs [{gate % 8}]"]
        lines += [f"connect \\Y \\n [{gate + 1}]", "end"]
    return "\n".join([*lines, f"connect \\outputs {{ 7'0000000 \\n [{length}] }}", "end", ""])


def gates_in_verilog(length: int) -> str:
    lines = ["module deep (input [7:0] inputs, output [7:0] outputs);", f"wire [{length}:0] n;"]
    lines += ["assign n[0] = inputs[0];", f"assign outputs = {{7'd0, n[{length}]}};"]
    lines += [f"xor (n[{gate + 1}], n[{gate}], inputs[{gate % 8}]);" for gate in range(length)]
    return "\n".join([*lines, "endmodule"])


def ripple_in_rtlil(length: int) -> str:
    """A counter by steps of line 7, each bit the clock of the next, with an asynchronous reset by line 6."""
    lines = ["module \\deep", "wire width 8 input 1 \\inputs", "wire width 8 output 2 \\outputs"]
    lines += [f"wire width {length} \\q", f"wire width {length} \\d"]
    for bit in range(length):
        clock, edge = (f"\\q [{bit - 1}]", "N") if bit else ("\\inputs [7]", "P")
        lines += [f"cell $_NOT_ $g{bit}", f"connect \\A \\q [{bit}]", f"connect \\Y \\d [{bit}]", "end"]
        lines += [f"cell $_DFF_{edge}P0_ $f{bit}", f"connect \\C {clock}", "connect \\R \\inputs [6]"]
        lines += [f"connect \\D \\d [{bit}]", f"connect \\Q \\q [{bit}]", "end"]
    return "\n".join([*lines, f"connect \\outputs {{ \\q [{length - 1}] \\q [6:0] }}", "end", ""])


def ripple_in_verilog(length: int) -> str:
    lines = ["module stage (input clk, rst, output reg q);"]
    lines += ["always @(negedge clk or posedge rst) if (rst) q <= 0; else q <= ~q;", "endmodule"]
    lines += ["module deep (input [7:0] inputs, output [7:0] outputs);", f"wire [{length}:0] c;"]
    lines += ["assign c[0] = ~inputs[7];", f"assign outputs = {{c[{length}], c[7:1]}};"]
    lines += [f"stage s{bit} (c[{bit}], inputs[6], c[{bit + 1}]);" for bit in range(length)]
    return "\n".join([*lines, "endmodule"])


def netlist_of(text: str, folder: Path) -> Netlist:
    """RTLIL by the reader of RTLIL, Verilog by way of a file."""
    if not text.startswith("module \\"):
        path = folder / "deep.v"
        path.write_text(text)
        return read(path)
    return parse(text)


@pytest.mark.parametrize("length", LENGTHS)
@pytest.mark.parametrize("source", [gates_in_rtlil, gates_in_verilog])
def test_a_chain_of_gates(source: Callable[[int], str], length: int, tmp_path: Path) -> None:
    sim = Simulation(netlist_of(source(length), tmp_path))
    for value in (0b0000_0000, 0b0000_0001, 0b1010_0100, 0b1111_1111):
        sim.set("inputs", value)
        sim.settle()
        taken = value & 1
        for gate in range(length):
            taken ^= value >> gate % 8 & 1
        assert sim.get("outputs") == taken


@pytest.mark.slow
@pytest.mark.parametrize("length", LENGTHS)
@pytest.mark.parametrize("source", sized([ripple_in_rtlil], [ripple_in_rtlil, ripple_in_verilog]))
def test_a_chain_of_registers(source: Callable[[int], str], length: int, tmp_path: Path) -> None:
    """Counts, and from all ones carries through the whole length in one update, a round for each bit."""
    sim = Simulation(netlist_of(source(length), tmp_path))
    for inputs in (0, 0b0100_0000, 0):
        sim.set("inputs", inputs)
        sim.settle()
    for step in range(1, 200):
        for inputs in (0b1000_0000, 0):
            sim.set("inputs", inputs)
            sim.settle()
        assert sim.get("outputs") == step % 128
    counted = sim.run_clock("inputs", bit=7, cycles=1000, observe="outputs")
    assert counted.tolist() == [step % 128 for step in range(200, 1200)]
    sim.power_cycle(1)
    sim.settle()
    assert sim.get("outputs") == 0xFF
    sim.set("inputs", 0b1000_0000)
    sim.settle()
    assert sim.get("outputs") == 0


def ring_in_rtlil(length: int) -> str:
    """A NAND gate, which lets the ring run, and an even number of inverters."""
    lines = ["module \\ring", "wire input 1 \\run", "wire output 2 \\y", f"wire width {length + 1} \\n"]
    lines += [
        "cell $_NAND_ $g",
        "connect \\A \\run",
        f"connect \\B \\n [{length}]",
        "connect \\Y \\n [0]",
        "end",
    ]
    for gate in range(length):
        lines += [
            f"cell $_NOT_ $g{gate}",
            f"connect \\A \\n [{gate}]",
            f"connect \\Y \\n [{gate + 1}]",
            "end",
        ]
    return "\n".join([*lines, f"connect \\y \\n [{length}]", "end", ""])


def test_a_ring_of_gates_without_rest() -> None:
    """One error, with every net; then the ring is held and the simulation goes on."""
    sim = Simulation(parse(ring_in_rtlil(DEEP)))
    sim.settle()
    assert sim.get("y") == 1
    sim.set("run", 1)
    with pytest.raises(LoopError) as caught:
        sim.settle()
    (loop,) = caught.value.loops
    assert {f"n[{gate}]" for gate in range(DEEP)} <= set(loop.nets)
    assert (loop.shortest, loop.longest) == (DEEP + 1, DEEP + 1)
    sim.set("run", 0)
    sim.settle()
    assert sim.get("y") == 1


@pytest.mark.slow
@pytest.mark.parametrize("source", [gates_in_rtlil, ripple_in_rtlil])
def test_a_golden_of_a_chain(source: Callable[[int], str], tmp_path: Path) -> None:
    """As a slot of the chip, power-ups and proof included."""
    contribution, golden = tmp_path / "deep.il", tmp_path / "deep.csv"
    contribution.write_text(source(3000))
    done = CliRunner().invoke(cli, ["golden", str(contribution), "-o", str(golden), "--seconds", "2"])
    assert done.exit_code == 0, done.output
    assert golden.read_text().startswith("time_s,step,inputs,outputs,claim\n")
