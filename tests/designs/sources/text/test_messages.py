"""What is refused or warned of in Verilog text: one sentence with the line of the source."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim.errors import SourceError
from forelight.sim.netlist import Word

#: A text of several lines, and what is said of it.
REFUSED = {
    "a primitive of the user's own": (
        "primitive mux(o, a, b);\n  output o; input a, b;\n  table 0 ? : 0; 1 ? : 1; endtable\nendprimitive\n"
        "module t(input a, b, output y);\n  mux m(y, a, b);\nendmodule\n",
        "t.v:1: the user-defined primitive mux is not supported; write it as a module",
    ),
    "SystemVerilog": (
        "module t(input c,\n  input logic [3:0] d, output logic [3:0] q);\n  always_ff @(posedge c) q <= d;\n"
        "endmodule\n",
        "t.v:2: `logic` is SystemVerilog, and a file named .v holds Verilog-2005; name the file .sv",
    ),
    "both edges in one block": (
        "module t(input c, d, output reg q);\n  always @(posedge c or negedge c)\n    q <= d;\nendmodule\n",
        "t.v:2: register q of module t takes both edges of c; use one of them: a flip-flop has one",
    ),
    "both edges in two blocks": (
        "module t(input c, d, output reg q);\n  always @(posedge c) q <= d;\n  always @(negedge c) q <= ~d;\n"
        "endmodule\n",
        "t.v:3: register q of module t takes both edges of c; use one of them: a flip-flop has one",
    ),
    "both edges of parts": (
        "module t(input c, d, output reg [1:0] q, r);\n  always @(posedge c) {q, r[0]} = {d, d, d};\n"
        "  always @(negedge c)\n    if (q <= 2) q[1] = d;\nendmodule\n",
        "t.v:3: register q of module t takes both edges of c; use one of them: a flip-flop has one",
    ),
    "a clock for ever": (
        "module t(output reg q);\n  reg c;\n  initial begin\n    c = 0;\n    forever #5 c = ~c;\n  end\n"
        "  always @(posedge c) q <= ~q;\nendmodule\n",
        "t.v:5: c is a clock that delays make, and a chip has none; take the clock from an input, the step line",
    ),
    "a clock for ten edges": (
        "module t(output reg q);\n  reg c = 0;\n  initial repeat (10)\n    #5 c = ~c;\n"
        "  always @(posedge c) q <= ~q;\nendmodule\n",
        "t.v:3: c is a clock that delays make, and a chip has none; take the clock from an input, the step line",
    ),
    "a clock of an assignment": (
        "module t(output reg q);\n  wire c;\n  assign #5 c = ~c;\n  always @(posedge c) q <= ~q;\nendmodule\n",
        "t.v:3: c is a clock that delays make, and a chip has none; take the clock from an input, the step line",
    ),
    "a clock of a gate": (
        "module t(output reg q);\n  wire c;\n  not #(2, 3) g(c, c);\n  always @(posedge c) q <= ~q;\nendmodule\n",
        "t.v:3: c is a clock that delays make, and a chip has none; take the clock from an input, the step line",
    ),
    "words below 0": (
        "module t(input signed [2:0] a, output [7:0] y);\n  reg [7:0] m [-4:3];\n  assign y = m[a];\nendmodule\n",
        "t.v:2: memory m has words below 0; number them from 0 on",
    ),
    "a net that joins what may be off": (
        "module t(input a, b, e, output y);\n  wand n;\n  assign n = e ? a : 1'bz;\n  assign n = b;\n"
        "  assign y = n;\nendmodule\n",
        "t.v:3: a driver of n that may be off is not supported on a net that joins its drivers; let it drive 1 on a "
        "wand and 0 on a wor instead of z",
    ),
    "a net that is pulled while nobody can see": (
        "module t(input e, a, output y);\n  parameter Z = 1'bz;\n  tri1 n;\n  assign n =\n    e ? a : Z;\n"
        "  assign y = n;\nendmodule\n",
        "t.v:5: it cannot be seen when this drives a pulled net; write z as a choice of `?` alone",
    ),
    "a pull by a primitive": (
        "module t(input e, a, output y);\n  pullup (y);\n  bufif1 (y, a, e);\nendmodule\n",
        "t.v:2: the primitive pullup is not supported; declare the net as tri1",
    ),
    "an array of gates": (
        "module t(input [3:0] a, output [3:0] y);\n  not g[3:0](y, a);\nendmodule\n",
        "t.v:2: an array of the primitive not is not supported; write a generate loop",
    ),
    "a switch": (
        "module t(input a, e, output y);\n  nmos (y, a, e);\nendmodule\n",
        "t.v:2: the switch primitive nmos is not supported; write a bufif1, or an assignment with z",
    ),
    "a strength": (
        "module t(input a, output y);\n  assign (weak0, weak1) y = a;\nendmodule\n",
        "t.v:2: drive strengths are not supported; declare the net as tri0 or tri1",
    ),
    "a number that is no integer": (
        "module t(input a, output y);\n  real r;\n  assign y = a;\nendmodule\n",
        "t.v:2: `real` is not supported; count in integers, or read a table with $readmemh",
    ),
    "a loop without a constant end": (
        "module t(input [3:0] a, output reg [3:0] y);\n  always @* begin\n    y = a;\n    while (y < 9) y = y + 1;\n"
        "  end\nendmodule\n",
        "t.v:4: `while` is supported in tables that `initial` fills alone; write a for loop with a constant end",
    ),
    "a clock of delays": (
        "module t(output reg q);\n  reg c;\n  initial c = 0;\n  always #5 c = ~c;\n  "
        "always @(posedge c) q <= ~q;\nendmodule\n",
        "t.v:4: c is a clock that delays make, and a chip has none; take the clock from an input, the step line",
    ),
    "leaving what is not around": (
        "module t(input a, output reg y);\n  always @* begin : one y = a;\n    disable two;\n  end\nendmodule\n",
        "t.v:3: `disable two` leaves no block that is around it; name the block that it is to leave",
    ),
    "the counter of a loop that was left": (
        "module t(input [3:0] a, output reg [2:0] y); integer i;\n  always @* begin\n    begin : find\n"
        "      for (i = 0; i < 4; i = i + 1) if (a[i]) disable find;\n    end\n    y = i;\n  end\nendmodule\n",
        "t.v:6: i is read after a loop that `disable` may have left; keep what it was in a variable of its own",
    ),
    "a table that hangs on an input": (
        "module t(input [1:0] a, output [3:0] y);\n  reg [3:0] m [0:3]; integer i;\n"
        "  initial for (i = 0; i < 4; i = i + 1)\n    m[i] = a + i;\n  assign y = m[a];\nendmodule\n",
        "t.v:4: what `initial` writes into memory m cannot be worked out beforehand; let it depend on constants and "
        "variables of the block alone, or read it with $readmemh",
    ),
    "a pulled net that another module may drive": (
        "module u(output y); assign y = 1; endmodule\n"
        "module t(output y);\n  tri1 n;\n  u one(n);\n  assign y = n;\nendmodule\n",
        "t.v:3: it cannot be seen what drives n, which is pulled; drive all of it in this module",
    ),
    "a cell of Yosys' own": (
        "module t(input a, output y);\n  \\$not #(.A_SIGNED(0)) n (.A(a), .Y(y));\nendmodule\n",
        "t.v:2: no module is named \\$not; cells of Yosys' own library have no Verilog text",
    ),
    "a bracket without end": (
        "module t(input a, output y);\n  buf (y, a;\nendmodule\n",
        "t.v:2: `(` is never closed; close it",
    ),
    "a condition without end": (
        "`ifdef A\nmodule t(input a, output y);\nendmodule\n",
        "t.v: Yosys: Unterminated preprocessor conditional!",
    ),
}


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    return Path("t.v")


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str, file: Path) -> None:
    text, message = REFUSED[name]
    file.write_text(text)
    with pytest.raises(SourceError) as caught:
        read(file)
    assert str(caught.value) == message


#: The same of SystemVerilog.
REFUSED_MODERN = {
    "an array of structures": (
        "typedef struct packed {logic h, l;} pair;\nmodule t(input [3:0] a, output h);\n  pair [1:0] x;\n"
        "  assign x = a;\n  assign h = x[1].h;\nendmodule\n",
        "t.sv:3: an array of the structure pair is not supported; write a variable for each",
    ),
    "inside": (
        "module t(input [3:0] a, output y);\n  assign y = a inside {1, 3};\nendmodule\n",
        "t.sv:2: `inside` is not supported; write the comparisons out",
    ),
    "break": (
        "module t(input [3:0] a, output logic [3:0] y);\n  always_comb begin\n    y = 4;\n"
        "    for (int i = 0; i < 4; i++)\n      if (a[i]) break;\n  end\nendmodule\n",
        "t.sv:5: `break` is not supported; name a block around the loop, and disable it",
    ),
}


@pytest.mark.parametrize("name", REFUSED_MODERN)
def test_refused_of_system_verilog(name: str, file: Path) -> None:
    text, message = REFUSED_MODERN[name]
    file.with_suffix(".sv").write_text(text)
    with pytest.raises(SourceError) as caught:
        read(file.with_suffix(".sv"))
    assert str(caught.value) == message


def test_a_list_of_events_that_leaves_something_out(file: Path) -> None:
    file.write_text(
        "module t(input [1:0] a, b, output reg y, z);\n  reg x;\n  always @(a or\n    b[0]) y = a[0] | b[0];\n"
        "  always @(a) begin x = a[1];\n    z = x & b[1]; end\n  reg v, w;\n  always @(*) v = a[0];\n"
        "  always @( * ) w = b[0];\nendmodule\n"
    )
    warnings = [line for line in read(file).warnings if "list of events" in line]
    assert warnings == [
        "t.v:5: Warning: the block reads b, which its list of events leaves out; a chip follows it all the same: "
        "write @*"
    ]


PACKAGE = "package p; typedef logic [3:0] nib; localparam nib K = 5; endpackage"
HEAD = "module t(input [3:0] a, output [3:0] y); typedef enum logic [1:0] {A, B} kind; kind s; assign s = a; "
UNSUPPORTED = {
    "assign y = a ==? {a[0], 3'b1?0};": "the right side of `==?` is no plain constant of this module; "
    "write it out, as 4'b1?0?",
    "assign y = s.next();": "the method next of s is not supported; write a case over its members",
    "assign y = s.last;": "the method last of s is not supported; write a case over its members",
    "localparam type T = logic [3:0];": "a parameter that is a type is not supported; "
    "take its width for the parameter",
    "import p::Z;": "there is no Z in package p; it has K, nib",
    "import q::*;": "there is no package q; name its file too, before this one",
    "import p::*; wire K = a;": "K is declared here and in package p, which is imported; give it another name",
}


@pytest.mark.parametrize("item", UNSUPPORTED)
def test_what_is_not_supported_has_a_way_out(item: str, tmp_path: Path) -> None:
    file = tmp_path / "t.sv"
    file.write_text(f"{PACKAGE}\n{HEAD}\n{item} endmodule\n")
    with pytest.raises(SourceError) as caught:
        read(file)
    assert str(caught.value) == f"t.sv:3: {UNSUPPORTED[item]}"


def test_a_package_that_imports_another(tmp_path: Path) -> None:
    (tmp_path / "t.sv").write_text(f"{PACKAGE}\npackage q; import p::*; endpackage\nmodule t; endmodule\n")
    with pytest.raises(
        SourceError, match=r"^t.sv:2: a package that imports another is not supported; join the two$"
    ):
        read(tmp_path / "t.sv")


def test_a_package_of_another_file_is_imported(tmp_path: Path) -> None:
    (tmp_path / "p.sv").write_text(PACKAGE)
    (tmp_path / "t.sv").write_text("import p::*;\nmodule t(output nib y);\n  assign y = K;\nendmodule\n")
    netlist = read([tmp_path / "p.sv", tmp_path / "t.sv"])
    assert netlist.outputs["y"] == Word.const(5, 4)


def test_what_unused_modules_hold_is_nobodys_business(file: Path) -> None:
    """A test bench in the same file has delays and clocks of its own."""
    file.write_text(
        "module t(input a, output y);\n  assign #3 y = a;\n  not #(1, 2) g(n, a), h(m, a);\nendmodule\n"
        "module bench;\n  reg c;\n  always #5 c = ~c;\n  reg q;\n  always @(posedge c) q <= c;\n"
        "  always @(negedge c) q <= 0;\n  initial forever begin #5 c = ~c; end\nendmodule\n"
    )
    warnings = read(file, top="t").warnings
    assert [line for line in warnings if "delay" in line] == [
        "t.v:2: Warning: the delay #3 is ignored, as is one more"
    ]


def test_either_edge_of_a_clock_by_choice(file: Path) -> None:
    file.write_text(
        "module t #(parameter FALL = 1)(input c, d, output reg q);\n  generate\n"
        "    if (FALL) always @(negedge c) q <= d;\n"
        "    else always @(posedge c) q <= d;\n  endgenerate\nendmodule\n"
    )
    assert [register.rising for register in read(file).registers] == [False]


def test_statements_nested_beyond_reason(file: Path) -> None:
    file.write_text(
        "module t(input a, output reg y);\n  always @* begin : b\n    y = 0;\n    "
        + "if (a) begin " * 1200
        + "disable b;"
        + " end" * 1200
        + "\n  end\nendmodule\n"
    )
    with pytest.raises(SourceError):
        read(file)


def test_a_place_in_the_source_where_yosys_has_none(file: Path) -> None:
    """Yosys makes cells without a source line out of nets that float."""
    file.write_text(
        "module t(input a, b, e, f, output y);\n  bufif1 (y, a, e);\n  bufif1 (y, b, f);\nendmodule\n"
    )
    warnings = read(file).warnings
    assert warnings and not any("RTLIL" in line for line in warnings)


def test_a_text_that_ends_within_a_statement(file: Path) -> None:
    file.write_text(
        "module t(output reg [7:0] y);\n  integer n;\n  reg [7:0] w [0:3];\n"
        "  initial for (n = 0; n < 4; n = n + 1) w[n] "
    )
    with pytest.raises(SourceError, match=r"^t\.v:\d: Yosys: syntax error, unexpected end of file$"):
        read(file)
