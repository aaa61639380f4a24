# ruff: noqa: E501
"""Small designs that leave values open, each in one text: as written, and with a draw wherever a value is open.

With the macro `DRAWN` the text is for a simulator without unknowns: every open value, and every register at power-up, is
`$random` (IEEE 1364-2005: 5.1.5 division, 5.2.1 part-selects, 5.2.2 memories, 4.6.1 drivers; full_case and parallel_case
as IEEE 1364.1-2002, 6.1 says). Lines 7 and 6 are clock and reset, the others data.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

MACROS = """
`ifdef DRAWN
`define OPEN(c, v) ((c) ? $random : (v))
`define WAKE(r) initial r = $random;
`define LOOSE(n, w) reg [w-1:0] n; initial n = $random; always @(inputs) n = $random;
`define ELSE(drawn, written) drawn
`define COMB reg woke = 0; initial #0 woke = 1; always @(a or b or woke)
`else
`define OPEN(c, v) (v)
`define WAKE(r)
`define LOOSE(n, w) wire [w-1:0] n;
`define ELSE(drawn, written) written
`define COMB always @*
`endif
"""
_HEAD = """
module {name}(input [7:0] inputs, output [7:0] outputs);
  wire clk = inputs[7], rst = inputs[6];
  wire [2:0] a = inputs[2:0], b = inputs[5:3];
"""


def designs() -> dict[str, str]:
    """Module texts by their names."""
    bodies: dict[str, str] = {}
    for family in (_divisions, _memories, _selects, _constants, _loose, _fights, _registers, _machines):
        bodies |= dict(family())
    return {name: MACROS + _HEAD.format(name=name) + body + "\nendmodule\n" for name, body in bodies.items()}


def _divisions() -> Iterator[tuple[str, str]]:
    for (word, sign), (title, open_) in product((("/", 0), ("%", 0), ("/", 1), ("%", 1)), _STYLES.items()):
        kind = {"/": "quotient", "%": "remainder"}[word] + ("_signed" if sign else "")
        a, b = ("$signed(a)", "$signed(b)") if sign else ("a", "b")
        value = f"`OPEN(b == 0, {a} {word} {b})"
        yield f"{kind}_{title}", open_.replace("VALUE", value)


_STYLES = {
    "shown": "assign outputs = {5'd0, y}; wire [2:0] y = VALUE;",
    "kept": "reg [2:0] q; `WAKE(q) assign outputs = {5'd3, q}; always @(posedge clk) q <= rst ? 3'd0 : VALUE;",
    "compared": """reg [2:0] q, p; `WAKE(q) `WAKE(p) assign outputs = {q == p, 7'd0};
  always @(posedge clk) begin q <= rst ? 3'd0 : VALUE; p <= rst ? 3'd0 : q; end""",
    "guarded": "wire [2:0] y = b == 0 ? 3'd5 : VALUE; assign outputs = {5'd0, y};",
}


def _memories() -> Iterator[tuple[str, str]]:
    for size in (3, 5, 6):
        keep = f"""reg [3:0] m [0:{size - 1}];
  `ELSE(integer n; initial for (n = 0; n < {size}; n = n + 1) m[n] = $random;,)
  always @(posedge clk) if (rst) m[a] <= {{1'b1, b}};"""
        yield (
            f"read_past_{size}",
            f"{keep} wire [3:0] y = `OPEN(b >= {size}, m[b]); assign outputs = {{4'd0, y}};",
        )
        yield (
            f"read_register_past_{size}",
            f"{keep} reg [3:0] q; `WAKE(q) always @(posedge clk) q <= `OPEN(b >= {size}, m[b]); assign outputs = {{4'd0, q}};",
        )
        rom = " ".join(f"m[{n}] = {n * 5 % 16};" for n in range(size))
        yield (
            f"table_past_{size}",
            f"reg [3:0] m [0:{size - 1}]; initial begin {rom} end "
            f"wire [3:0] y = `OPEN(a >= {size}, m[a]); assign outputs = {{4'd0, y}};",
        )
    for hole in (1, 4, 7):
        rom = " ".join(f"m[{n}] = {n * 3 % 16};" for n in range(8) if n != hole)
        yield (
            f"table_hole_{hole}",
            f"reg [3:0] m [0:7]; initial begin {rom} end wire [3:0] y = `OPEN(a == {hole}, m[a]); "
            "assign outputs = {4'd0, y};",
        )
    yield (
        "table_from_2",
        "reg [3:0] m [2:5]; initial begin m[2] = 1; m[3] = 8; m[4] = 6; m[5] = 11; end "
        "wire [3:0] y = `OPEN(a < 2 || a > 5, m[a]); assign outputs = {4'd0, y};",
    )
    yield (
        "table_all",
        "reg [3:0] m [0:7]; initial begin m[0] = 1; m[1] = 8; m[2] = 6; m[3] = 11; m[4] = 2; m[5] = 9; m[6] = 0; "
        "m[7] = 3; end assign outputs = {4'd0, m[a]};",
    )


def _selects() -> Iterator[tuple[str, str]]:
    for width in (5, 6):
        word = f"wire [{width - 1}:0] w = {{b, b}} ^ 6'd{width * 3};"
        yield (
            f"bit_of_{width}",
            f"{word} wire y = `OPEN(a >= {width}, w[a]); assign outputs = {{7'd0, y}};",
        )
        yield (
            f"up_of_{width}",
            f"""{word} wire y = `OPEN(a >= {width}, w[a]), z = `OPEN(a >= {width - 1}, w[a + 1]);
  wire [1:0] v = `ELSE({{z, y}}, w[a +: 2]); assign outputs = {{6'd0, v}};""",
        )
        yield (
            f"down_of_{width}",
            f"""{word} wire z = `OPEN(a >= {width}, w[a]), y = `OPEN(a == 0 || a > {width}, w[a - 1]);
  wire [1:0] v = `ELSE({{z, y}}, w[a -: 2]); assign outputs = {{6'd0, v}};""",
        )
        yield (
            f"below_of_{width}",
            f"{word} wire y = `OPEN(a < 1 || a > {width}, w[a - 1]); assign outputs = {{7'd0, y}};",
        )
    yield "bit_of_8", "assign outputs = {7'd0, inputs[a]};"
    yield (
        "write_past_5",
        "reg [4:0] r; `WAKE(r) always @(posedge clk) if (rst) r <= 0; else r[a] <= 1; assign outputs = {3'd0, r};",
    )


def _constants() -> Iterator[tuple[str, str]]:
    show = " assign outputs = {6'd0, o};"
    x = "`ELSE($random, 2'bxx)"
    yield (
        "default_x",
        f"reg [1:0] o; `COMB case (a[1:0]) 0: o = 1; 1: o = b[1:0]; 3: o = 2; default: o = {x}; endcase{show}",
    )
    yield (
        "default_x_never",
        f"reg [1:0] o; `COMB case (a[1:0]) 0: o = 1; 1: o = b[1:0]; 2: o = 0; 3: o = 2; default: o = {x}; endcase{show}",
    )
    yield (
        "default_x_kept",
        f"reg [1:0] o; `WAKE(o) always @(posedge clk) if (rst) o <= 0; else case (o) 0: o <= a[1:0]; 1: o <= 2; 2: o <= 0; "
        f"default: o <= {x}; endcase{show}",
    )
    yield "ternary_x", f"wire [1:0] o = a[0] ? b[1:0] : {x};{show}"
    yield "if_x", f"reg [1:0] o; `COMB if (a[0]) o = b[1:0]; else if (a[1]) o = 2; else o = {x};{show}"
    yield "x_masked", f"wire [1:0] o = (a[0] ? b[1:0] : {x}) & {{2{{a[0]}}}};{show}"
    full = "`ELSE(default: o = $random;,)"
    yield (
        "full_case",
        f"reg [1:0] o; `COMB (* full_case *) case (a[1:0]) 0: o = 1; 1: o = 2; {full} endcase{show}",
    )
    # An attribute means nothing in IEEE 1364, and where a clocked register would keep its value Yosys takes it at that.
    yield (
        "full_case_kept",
        "reg [1:0] o; `WAKE(o) always @(posedge clk) (* full_case *) case (b[1:0]) 0: o <= 1; 2: o <= 3; endcase"
        + show,
    )
    yield (
        "full_casez",
        f"reg [1:0] o; `COMB (* full_case *) casez (a) 3'b1??: o = 1; 3'b01?: o = 2; {full} endcase{show}",
    )
    one = "case (1'b1) a[0]: o = 1; a[1]: o = 2; a[2]: o = 3; default: o = 0; endcase"
    several = "a[0] + a[1] + a[2] > 1"
    yield (
        "parallel_case",
        f"reg [1:0] o; `COMB `ELSE(if ({several}) o = $random; else, (* parallel_case *)) {one}{show}",
    )
    alike = "case (1'b1) a[0]: o = 2; a[1]: o = 2; default: o = 0; endcase"
    yield (
        "parallel_alike",
        f"reg [1:0] o; `COMB `ELSE(if (a[0] && a[1]) o = $random; else, (* parallel_case *)) {alike}{show}",
    )
    yield (
        "parallel_casez",
        "reg [1:0] o; `COMB `ELSE(if (a[2] && a[1]) o = $random; else, (* parallel_case *)) casez (a) 3'b1??: o = 1; "
        f"3'b?1?: o = 2; default: o = 0; endcase{show}",
    )
    yield (
        "plain_casez",
        f"reg [1:0] o; `COMB casez (a) 3'b1??: o = 1; 3'b?1?: o = 2; default: o = 0; endcase{show}",
    )
    yield "x_added", f"`LOOSE(l, 1) wire [1:0] o = a[1:0] + `ELSE({{1'b0, l}}, 2'b0x);{show}"
    yield "x_compared", "`LOOSE(l, 1) assign outputs = {7'd0, a == `ELSE({1'b1, l, 1'b0}, 3'b1x0)};"


def _loose() -> Iterator[tuple[str, str]]:
    yield "loose_shown", "`LOOSE(l, 2) assign outputs = {6'd0, l};"
    yield "loose_masked", "`LOOSE(l, 2) assign outputs = {6'd0, l & a[1:0]};"
    yield "loose_select", "`LOOSE(l, 1) assign outputs = {5'd0, l ? a : b};"
    yield "loose_alike", "`LOOSE(l, 1) assign outputs = {5'd0, l ? a : a};"
    yield (
        "loose_kept",
        "`LOOSE(l, 1) reg q; `WAKE(q) always @(posedge clk) q <= rst ? 1'b0 : l; assign outputs = {7'd0, q};",
    )
    yield (
        "loose_enable",
        "`LOOSE(l, 1) reg [2:0] q; `WAKE(q) always @(posedge clk) if (rst) q <= 0; else if (l) q <= a; "
        "assign outputs = {5'd0, q};",
    )
    yield (
        "loose_part",
        "`ELSE(`LOOSE(l, 1), wire l;) wire [2:0] w; assign w[1:0] = a[1:0]; "
        + ("assign outputs = {5'd0, `ELSE(l, w[2]), w[1:0]};"),
    )
    yield (
        "never_assigned",
        "`ELSE(`LOOSE(k, 3), reg [2:0] k;) assign outputs = {5'd0, k & a};",
    )
    yield (
        "loose_address",
        "`LOOSE(l, 1) wire [3:0] w = {b[0], a}; wire y = w[{l, b[1]}]; assign outputs = {7'd0, y};",
    )


def _fights() -> Iterator[tuple[str, str]]:
    def fight(one: str, other: str) -> str:
        return f"`ELSE(wire y = {one} === {other} ? {one} : $random;, wire y; assign y = {one}; assign y = {other};)"

    yield (
        "fight_logic",
        f"wire c = a[0] & a[1], d = a[1] | b[0]; {fight('c', 'd')} assign outputs = {{7'd0, y}};",
    )
    yield "fight_inputs", f"{fight('a[0]', 'b[1]')} assign outputs = {{7'd0, y}};"
    yield (
        "fight_alike",
        f"wire c = a[0] & a[1], d = a[1] & a[0]; {fight('c', 'd')} assign outputs = {{7'd0, y}};",
    )
    yield (
        "fight_kept",
        f"wire c = a[0] & a[1], d = a[1] | b[0]; {fight('c', 'd')} reg q; `WAKE(q) "
        "always @(posedge clk) q <= rst ? 1'b0 : y; assign outputs = {7'd0, q};",
    )
    yield (
        "fight_registers",
        "reg p, r; `WAKE(p) `WAKE(r) always @(posedge clk) p <= a[0]; always @(posedge clk) r <= rst ? a[0] : b[0]; "
        + fight("p", "r")
        + " assign outputs = {7'd0, y};",
    )
    drawn = "wire y = a[0] ? (b[0] && a[1] !== b[1] ? $random : a[1]) : b[0] ? b[1] : $random;"
    yield (
        "three_state",
        f"`ELSE({drawn}, wire y; assign y = a[0] ? a[1] : 1'bz; assign y = b[0] ? b[1] : 1'bz;) assign outputs = {{7'd0, y}};",
    )
    yield (
        "three_state_and_logic",
        "wire d = b[0] & b[1]; `ELSE(wire y = a[0] && a[1] !== d ? $random : d;, wire y; assign y = a[0] ? a[1] : 1'bz; "
        "assign y = d;) assign outputs = {7'd0, y};",
    )
    yield "floats", "wire y = a[0] ? a[1] : `ELSE($random, 1'bz); assign outputs = {7'd0, y & ~b[0]};"


def _registers() -> Iterator[tuple[str, str]]:
    yield "no_restart", "reg [2:0] n; `WAKE(n) always @(posedge clk) n <= n + 1; assign outputs = {5'd0, n};"
    yield (
        "left_out",
        "reg [2:0] n; reg t; `WAKE(n) `WAKE(t) always @(posedge clk) if (rst) n <= 0; else begin n <= n + 1; t <= ~t; end "
        "assign outputs = {4'd0, t, n};",
    )
    yield (
        "flushed",
        "reg [2:0] n, m; `WAKE(n) `WAKE(m) always @(posedge clk) begin n <= a; m <= n; end assign outputs = {5'd0, m};",
    )


def _machines() -> Iterator[tuple[str, str]]:
    """State machines, which Yosys' `synth` codes anew: its chip may wake up in none of these states."""
    head = "reg [2:0] s; reg [2:0] q; `WAKE(s) `WAKE(q) always @(posedge clk"
    turns = """case (s)
    2: begin if (a[0] & b[1]) s <= 5; else if (q[1]) s <= 5; q <= b; end
    6: begin s <= 0; q <= q + 1; end
    1: s <= 1;
    5: begin if (a[0] & b[1]) s <= 2; else if (q[1]) s <= 6; q <= b; end
    0: s <= 6;
    DEFAULT
  endcase"""
    show = " assign outputs = s == 2 ? {5'd1, q} : s == 6 ? 8'h20 : s == 1 ? 8'h41 : 8'h01;"
    bare, homing = turns.replace("DEFAULT", ""), turns.replace("DEFAULT", "default: s <= 0;")
    yield "machine_bare", f"{head}) {bare}{show}"
    yield "machine_homing", f"{head}) {homing}{show}"
    yield "machine_reset", f"{head}) if (rst) s <= 0; else {bare}{show}"
    yield "machine_reset_last", f"{head}) begin {bare} if (rst) s <= 5; end{show}"
    yield "machine_cleared", f"{head} or posedge rst) if (rst) s <= 6; else {homing}{show}"
    yield (
        "machine_rounds",
        f"{head}) case (s) 2: begin s <= 4; q <= 0; end 1: begin s <= 2; q <= 0; end 5: begin if (a[1]) s <= 1; else s <= 4; "
        "q <= b; end 3, 4: if (a[0] & b[1]) s <= 3; else if (q[1]) s <= 5; endcase "
        "assign outputs = {s == 2, s == 5, s != 1, 2'd0, q};",
    )
