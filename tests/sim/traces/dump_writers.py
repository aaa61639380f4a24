"""Value change dumps of many writers: those that open-source packages carry, and those that programs here write.

Debian's source package `verilator` carries the dumps that its tests expect, some by way of GTKWave's `fst2vcd`; PyPI's
`simplify-vcd` carries some of logic analysers. `.ci/outside` fetches both, and nothing of them is kept in the project.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from amaranth.hdl import Module, Signal
from amaranth.sim import Simulator
from vcd import VCDWriter

#: The folder that `.ci/outside` fills; a test without it is skipped.
FOLDER = os.environ.get("FORELIGHT_OUTSIDE", "")

_VERILOG = """
`timescale 10ns/1ns
module part(input clk, input [3:0] d, output reg [3:0] q, output tri1 z);
  always @(posedge clk) q <= d;
  assign z = q[0] ? 1'bz : q[1];
endmodule
module bench;
  reg clk = 0; reg [3:0] d; wire [3:0] q; wire z; integer n; reg [99:0] wide; real r;
  reg \\odd$name ; reg [-2:5] down;
  part u(clk, d, q, z);
  initial begin
    $dumpfile("bench.vcd"); $dumpvars(1, bench); $dumpvars(0, u);
    for (n = 0; n < 40; n = n + 1) begin
      #0.7 clk = ~clk; d = n * 7; r = n / 3.0; wide = {n, 4'bxz01, ~n, n[0], 31'b0}; \\odd$name = n[1]; down = n * 5;
      if (n == 20) $dumpoff;
      if (n == 25) $dumpon;
      if (n == 30) $dumpall;
    end
    $finish;
  end
endmodule
"""
_VHDL = """
library ieee; use ieee.std_logic_1164.all;
entity bench is end bench;
architecture a of bench is
  signal clk : std_logic := '0'; signal v : std_logic_vector(4 downto 0); signal up : std_logic_vector(0 to 6);
  signal b : bit; signal n : integer range 0 to 99;
begin
  process
    constant levels : std_logic_vector(0 to 8) := "UX01ZWLH-";
  begin
    for k in 0 to 30 loop
      wait for 3 ns; clk <= not clk;
      for j in v'range loop v(j) <= levels((k + j) mod 9); end loop;
      up <= (others => '0'); up(k mod 7) <= '1'; b <= not b; n <= k;
    end loop;
    wait;
  end process;
end a;
"""
_MYHDL = """
from myhdl import Signal, Simulation, always, block, delay, instance, intbv, modbv
@block
def bench():
    clk, word, wide = Signal(bool(0)), Signal(modbv(0)[5:]), Signal(intbv(0)[70:])
    @always(delay(7))
    def tick():
        clk.next = not clk
    @always(clk.posedge)
    def count():
        word.next = word + 3
        wide.next = (int(word) << 64) | int(word)
    return tick, count
made = bench()
made.config_sim(trace=True, directory=".", filename="bench")
made.run_sim(400)
"""


def icarus(folder: Path) -> None:
    (folder / "bench.v").write_text(_VERILOG)
    subprocess.run(["iverilog", "-g2009", "-o", "bench.vvp", "bench.v"], cwd=folder, check=True)
    subprocess.run(["vvp", "-n", "bench.vvp"], cwd=folder, check=True, stdout=subprocess.DEVNULL)


def ghdl(folder: Path) -> None:
    (folder / "bench.vhdl").write_text(_VHDL)
    for order in (["-a", "bench.vhdl"], ["-e", "bench"], ["-r", "bench", "--vcd=bench.vcd"]):
        subprocess.run(["ghdl", *order], cwd=folder, check=True)


def yosys(folder: Path) -> None:
    (folder / "top.v").write_text(
        "module top(input clk, output reg [4:0] n, output z);\n"
        "always @(posedge clk) n <= n + 3; assign z = ^n; endmodule\n"
    )
    orders = "read_verilog top.v; prep; sim -clock clk -n 30 -zinit -vcd bench.vcd top"
    script = "from pyosys import libyosys as ys; import sys; ys.run_pass(sys.argv[1], ys.Design())"
    command = [sys.executable, "-c", script, orders]
    subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL)


def myhdl(folder: Path) -> None:
    (folder / "bench.py").write_text(_MYHDL)
    subprocess.run([sys.executable, "bench.py"], cwd=folder, check=True, stdout=subprocess.DEVNULL)


def sigrok(folder: Path) -> None:
    demo = ["-d", "demo:logic_channels=8:analog_channels=0", "-c", "samplerate=20k", "--samples", "3000"]
    with (folder / "bench.vcd").open("wb") as file:
        subprocess.run(["sigrok-cli", *demo, "-O", "vcd"], check=True, stdout=file)


def pyvcd(folder: Path) -> None:
    with (folder / "bench.vcd").open("w") as file, VCDWriter(file, timescale="10 us", date="") as writer:
        bit = writer.register_var("a.b", "bit", "wire", size=1)
        word = writer.register_var("a", "word", "reg", size=67)
        both = writer.register_var("a", "both", "integer", size=(3, 5))
        for now in range(0, 300, 7):
            writer.change(bit, now, "01xz"[now % 4])
            writer.change(word, now, now**11 % (1 << 67))
            writer.change(both, now, (now % 8, now % 32))


def amaranth(folder: Path) -> None:
    module = Module()
    count = Signal(7)
    module.d.sync += count.eq(count * 5 + 1)
    module.submodules.inner = inner = Module()
    inner.d.comb += Signal(name="parity").eq(count.xor())
    simulator = Simulator(module)
    simulator.add_clock(1.3e-6)
    with simulator.write_vcd(str(folder / "bench.vcd")):
        simulator.run_until(60e-6)


#: By writer: its program, or the module of Python, and what makes it write `bench.vcd` into a folder.
WRITERS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "Icarus Verilog": ("iverilog", icarus),
    "GHDL": ("ghdl", ghdl),
    "Yosys": ("", yosys),
    "MyHDL": ("", myhdl),
    "sigrok-cli": ("sigrok-cli", sigrok),
    "pyvcd": ("", pyvcd),
    "Amaranth": ("", amaranth),
}


def missing(writer: str) -> bool:
    """Whether its program is not on this machine."""
    program = WRITERS[writer][0]
    return bool(program) and shutil.which(program) is None


def carried() -> Iterator[Path]:
    """The dumps that packages carry."""
    if FOLDER:
        for pattern in (
            "verilator*/test_regress/t/*.out",
            "verilator*/test_regress/t/*.vcd",
            "simplify_vcd*/**/*.vcd",
        ):
            for path in sorted(Path(FOLDER).glob(pattern)):
                if b"$enddefinitions" in path.read_bytes():
                    yield path
