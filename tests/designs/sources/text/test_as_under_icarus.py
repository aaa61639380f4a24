"""Verilog that Yosys lacks or reads wrongly, against Icarus Verilog on the same text."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from forelight.designs import read

from ....sim.fidelity.comparison import Design, compare, undefined_registers
from ....sim.fidelity.stimulus import Drive, rows
from ....sim.icarus import needs_icarus

SEED, STEPS = 41, 300
#: A module each, with a clock `c` where the text has one.
CIRCUITS = {
    "notif0": """module t(input e, a, output y, z, u, v);
  notif0 (y, a, e), g2 (z, !a, a ^ e); notif1 (u, a, e); bufif0 #(1, 2) (v, a, e); endmodule""",
    "supply": """module t(input a, output y, z, output [3:0] v);
  supply0 g; supply1 p; supply1 [3:0] wide; assign y = a & p, z = a | g, v = wide ^ {4{a}}; endmodule""",
    "pulled": """module t(input e, f, a, input [3:0] d, output y, z, lonely, hard, output [3:0] w);
  tri0 m; tri1 n; tri1 [3:0] b; tri1 lone; tri0 firm;
  bufif1 (m, a, e); bufif0 (n, a, e), (n, a, f); assign firm = a;
  assign b = e ? d : 4'bz; assign y = m, z = n, w = b, lonely = lone, hard = firm; endmodule""",
    "pulled by choices": """module t(input e, f, a, input [3:0] b, output y, z, output [3:0] w, v);
  tri1 n; tri0 m; tri1 [3:0] x, u; assign n = e ? a : f ? ~a : 1'bz, m = e ? (f ? a : 1'bz) : (1'bz);
  assign x = e ? b : 'bz; assign u = f ? {4{1'bz}} : b;
  assign y = n, z = m, w = x, v = u; endmodule""",
    "pulled ports": """module u(input tri1 [1:0] a, input tri0 b, output [2:0] y); assign y = {b, a}; endmodule
module v(input e, a, output tri1 y); assign y = e ? a : 1'bz; endmodule
module t(input e, f, a, input [3:0] d, output tri1 m, output tri0 [3:0] n, input g, output [2:0] p, q, r, s, w);
  assign m = e ? a : 1'bz; assign n = f ? d : 4'bz; assign w[2] = m & n[0] & g; v one(e, a, w[0]), two(f, ~a, w[1]);
  u o(.y(p)); u k(.a(), .b(), .y(q)); u i(.a(d[1:0]), .y(r)); u j(.y(s), .a({d[0], d[1]}), .b()); endmodule""",
    "pulled ports of old": """module t(e, a, y, z); input e, a; output y, z; tri0 y; tri1 z;
  assign y = e ? a : 1'bz; bufif0 (z, a, e); endmodule""",
    "z without a width": """module t(input e, input [7:0] a, output [7:0] y); wire [7:0] n;
  assign n = e ? a : 'bz; assign n = e ? 'hZ : ~a; assign y = n; endmodule""",
    "constant arguments": """module t(input [3:0] a, output [7:0] x, y, z); parameter W = 8, P = 4'd9;
  function signed [7:0] f; input signed [7:0] p, q; input [3:0] r; f = p + r - q; endfunction
  function [7:0] g(input [W-1:0] p, input integer k, input one); g = p + k + one; endfunction
  assign x = f(-4'd3, P + 4'd9, a), y = g(~4'd9, 2'd3 + 2'd3, ~1'b0) + g(a, -(1'sb1), 1'b1 + 1'b1);
  assign z = f(a, 3'sd3 + 3'sd3, 4'd9 + 4'd9); endmodule""",
    "labels worked out": """module t(input [3:0] a, input signed [3:0] s, output reg [3:0] v, w, x, y, z);
  parameter [1:0] P = 2; localparam [2:0] Q1 = 1;
  always @* case (a) P + 2'd3: v = 1; ~1'b0, -(2'd2): v = 2; P ? -3'd5 : 0: v = 3;
    Q1 - 3'd7, 4'd15 + 4'd1: v = 4; (2'd3 << P) | 1'b1: v = 5; default v = 6; endcase
  always @* casez (a) 2'd2 * 2'd3: w = 1; 4'b1??1: w = 2; 2'd2 ** 2'd3: w = 3; -1'b1: w = 4; default w = 0; endcase
  always @* casex (a[1:0] + a[1:0]) 3'd3 + 3'd3: x = 1; 4'b1x01: x = 2; P + P: x = 3; default: x = 0; endcase
  always @* case (s) -2'sd1: y = 1; 2'sd1 + 2'sd1: y = 2; -(3'sb100): y = 3; default y = 0; endcase
  always @* case (s) 2'sb11 + 2'sb01: z = 1; 8'd5: z = 2; default z = 3; endcase endmodule""",
    "labels beside nets": """module t(input [1:0] k, input [3:0] a, output reg [3:0] v, w, x, output [3:0] y, z);
  reg [3:0] m [0:15]; integer i; initial for (i = 0; i < 16; i = i + 1) m[i] = i * 7;
  function [2:0] f(input [3:0] n); case (n) 2'd1 + 2'd3: f = 1; ~2'd1: f = 2; default f = n; endcase endfunction
  function [3:0] g(input [3:0] n); case (n + n) 5'd16: g = 5; 2: g = 4; default g = 6; endcase endfunction
  always @* case (m[a]) k + (2'd1 + 2'd3): v = 1; -2'd3: v = 2; default v = 3; endcase
  always @* case (1'b1) a[0] + 1'b1: w = 1; 1'b1 + 1'b1: w = 2; (a >> 2) < 2, k == 2'd3 + 2'd1: w = 3;
    default w = 0; endcase
  always @* case (f(a)) 2'd3 + 2'd1: x = 1; f(k) + 2'd2: x = 2; f(4'd4) + f(4'd2): x = 3; default x = 0; endcase
  integer n; always @* begin w_of_n = 0; for (n = 0; n < 4; n = n + 1) case (a) n[1:0] + 2'd3: w_of_n = n + 1;
    -n[1:0]: w_of_n = ~n; default ; endcase end reg [3:0] w_of_n;
  assign y = a ^ f(4) ^ w_of_n, z = a ^ g(8) ^ f(4'd14); endmodule""",
    "a table with arguments": """module t(input [3:0] a, output [7:0] y, z); reg [7:0] m [0:15], n [0:15];
  function [7:0] f(input [7:0] x); f = x; endfunction
  integer i; reg [7:0] q; reg [3:0] p;
  initial begin q = 3; for (i = 0; i < 16; i = i + 1) begin q = q * 5 + f(4'd9 + 4'd9); m[i] = q; end end
  initial begin p = 1; for (i = 0; i < 16; i = i + 1) begin
    case (p) 2'd1 + 2'd3: p = p + 7; -3'd1, p[1:0] + 2'd3: p = p + 3; default p = p + 1; endcase n[i] = p; end end
  assign y = m[a], z = n[a]; endmodule""",
    "buffers": """module t(input a, b, output y, z, u); wire m, n; buf (m, n, a); buf one (y, m & b), two (z, n);
  buf \\odd.name (u, \\in.between ); not (\\in.between , a); endmodule""",
    "leave a search": """module t(input [7:0] a, output reg [3:0] y); integer i;
  always @* begin : find y = 8;
    for (i = 0; i < 8; i = i + 1) begin if (a[i]) begin y = i; disable find; end end end endmodule""",
    "leave one round": """module t(input [7:0] a, output reg [3:0] y, output reg any); integer i;
  always @* begin y = 0; any = 0; for (i = 0; i < 8; i = i + 1) begin : one
    if (a[i]) disable one; else any = 1; y = y + 1; end end endmodule""",
    "leave in a case": """module t(input c, input [1:0] k, input [3:0] d, output reg [3:0] q); initial q = 0;
  always @(posedge c) begin : step q <= q + 1;
    case (k) 0: disable step; 1: begin q <= d; disable step; end 2: q <= 0; default ; endcase
    q <= q ^ d; end endmodule""",
    "leave two loops": """module t(input [15:0] a, output reg [3:0] y); integer i, j;
  always @* begin : both y = 0; for (i = 0; i < 4; i = i + 1) begin : inner
    for (j = 0; j < 4; j = j + 1) begin if (a[4*i+j]) disable inner; if (a[15-i]) disable both; y = y + 1; end
  end end endmodule""",
    "table by while": """module t(input [3:0] a, output [7:0] y); reg [7:0] m [0:15]; integer i;
  initial begin i = 0; while (i < 16) begin m[i] = 255 - i * i; i = i + 1; end end assign y = m[a]; endmodule""",
    "table by repeat": """module t(input [3:0] a, output [7:0] y); reg [7:0] m [0:15]; integer i;
  initial begin i = 0; repeat (16) begin m[i] = i * 7; i = i + 1; end end assign y = m[a]; endmodule""",
    "table of steps": """module t(input c, input [3:0] a, output reg [7:0] y); parameter N = 16;
  reg [7:0] m [0:N-1]; integer i; reg [7:0] x; initial begin x = 1;
  for (i = 0; i < N; i = i + 1) begin m[i] = x; x = {x[6:0], x[7] ^ x[5] ^ x[4] ^ x[3]}; end end
  always @(posedge c) y <= m[a]; endmodule""",
    "table by function": """module t(input [3:0] a, output [7:0] y); reg [7:0] m [4:19]; integer i, sum;
  function [7:0] f(input integer k); integer j;
    begin f = 0; for (j = 0; j < k; j = j + 1) f = f + j * 3; end endfunction
  initial begin sum = 0; for (i = 19; i >= 4; i = i - 1) begin sum = sum + f(i); m[i] = sum; end end
  assign y = m[a + 4]; endmodule""",
    "table in the table": """module t(input [4:0] a, output [15:0] y); reg [15:0] m [0:31]; integer i;
  initial begin m[0] = 1; m[1] = 1; for (i = 2; i < 24; i = i + 1) m[i] = m[i-1] + m[i-2];
  while (i < 32) begin m[i] = 0; i = i + 1; end end assign y = m[a]; endmodule""",
    "table by a case without colon": """module t(input [3:0] a, output [7:0] y); reg [7:0] m [0:15]; integer i;
  initial for (i = 0; i < 16; i = i + 1) case (i % 3) 0: m[i] = 1; 1: m[i] = i; default m[i] = 255 - i; endcase
  assign y = m[a]; endmodule""",
    "negative places": """module t(input c, input signed [3:0] k, input [3:0] a, output [7:0] y, z);
  reg signed [7:0] m [0:15]; integer i; initial for (i = 0; i < 16; i = i + 1) m[i] = i * i;
  always @(posedge c) m[k - 1] <= a; assign y = m[a], z = m[a[3:1]] + m[m[a] & 15]; endmodule""",
    "either edge": """module t(input c, input [7:0] a, output reg [7:0] q, r); integer i; initial q = 0;
  always @(posedge c) begin if (r <= 5) q[3:0] <= a; for (i = 6; i < 8; i = i + 1) q[i] <= a[0] ? a[i] : r <= 9; end
  always @(posedge c) if (q <= a) r <= a; else r <= 0; initial r = 0; always @* if (0) ; endmodule""",
    "a thousand steps": """module t(input [9:0] a, output [7:0] y); reg [7:0] m [0:1023]; integer i, j = 32'h65242;
  initial for (i = 0; i <= 1023; i = i + 1) begin m[i] = j * 32'h4F6CDD1D;
    j = j ^ (j >> 12); j = j ^ (j << 25); j = j ^ (j >> 27); end assign y = m[a]; endmodule""",
    "select below 0": """module t(input c, input [7:0] d, input [3:0] s, output reg [7:0] y, z); initial z = 0;
  always @* begin y = 8'h5A; y[s -: 4] = d[3:0]; end always @(posedge c) z[s + 1 -: 5] <= d[6:2]; endmodule""",
    "select of a product": """module t(input [5:0] k, input [3:0] s, input [7:0] d, output reg [31:0] y);
  always @* begin y = 0; y[(k*s)-:8] = d; end endmodule""",
    "select by a counter": """module t(input [31:0] d, output reg [31:0] y); integer i;
  always @* begin y = 0; for (i = 0; i < 4; i = i + 1) y[8*i+7 -: 8] = d[31-8*i -: 8]; end endmodule""",
    "delays": """module t(input c, a, output y, output reg q); assign #1 y = ~a; initial q = 0;
  always @(posedge c) q <= #1 a; endmodule""",
}
SYSTEM_VERILOG = {
    "wildcard": """module t(input [3:0] a, b, output y, z, u, v, w); assign y = a ==? 4'b1x0z;
  assign z = a + b !=? 4'b1?0?, u = &a ==? 1'b1; assign v = (b[1:0] ==? 2'bx1) & a ==? 4'hX;
  assign w = b < a ==? 1'b0 ? a[0] : a[1]; endmodule""",
    "wildcards of parameters": """module u #(parameter [3:0] P = 4'b1010) (input [3:0] a, output y);
  assign y = a ==? P; endmodule
module t(input c, input [3:0] a, b, output [9:0] y, output reg [3:0] n, output logic [3:0] m, output [3:0] o, r);
  localparam [3:0] P = 4'b1x0z; parameter Q = 4'b?1??; typedef enum logic [3:0] {A = 4'b1000, B = 4'b1} kind;
  u one(a, y[0]); u #(4'b1??0) two(a, y[1]); u #(.P(4'b0x1x)) three(a, y[2]);
  assign y[3] = a ==? P, y[4] = a !=? Q, y[5] = a ==? Q[3:1], y[6] = a ==? {2'b1x, 2'b?0}, y[7] = a !=? (b);
  assign y[8] = a + b ==? {B, 1'b0} ? a[0] : b[0], y[9] = (a ^ b ==? {2{b[1:0]}}) | a !=? (4'b1??0);
  initial n = 0; always_ff @(posedge c) if (a ==? P) n <= a; else if (a ==? b + 1) n <= ~a;
  always_comb begin m = 0; for (int i = 0; i < 4; i++) if ({a[i], b} ==? {1'b1, P}) m[i] = 1; end
  genvar i; generate for (i = 0; i < 4; i = i + 1) begin : g assign o[i] = {a[i], b[2:0]} ==? P; end endgenerate
  function automatic [3:0] f(input [3:0] x); if (x ==? P) return 3; return x; endfunction assign r = f(b); endmodule""",
    "imports": """package p; typedef logic [3:0] nib; localparam nib K = 5, M = 4'b1x?0;
  function automatic nib f(nib x); f = x + K; endfunction typedef struct packed { nib hi; nib lo; } pair;
  typedef enum logic [1:0] {A, B = 2, C} kind; endpackage
module u import p::*; #(parameter nib W = K) (input nib a, output nib y); assign y = a ^ W; endmodule
module v import p::f; (input [3:0] a, output [3:0] y); import p::K; localparam A = 3; assign y = f(a) + K + A; endmodule
module t import p::*; (input c, input nib a, b, output nib y, z, w, output kind s, output logic [3:0] v, x, output n);
  pair q; assign q = {a, b}; initial begin s = A; v = 0; end u one(a, y); u #(.W(K + 1)) two(.a(a), .y(z)); v o(a, w);
  always_ff @(posedge c) begin case (s) A: s <= B; B: s <= a[0] ? C : A; default: s <= A; endcase
    v <= f(q.hi) + q.lo; end
  genvar i; for (i = 0; i < 4; i++) begin : g assign x[i] = a[i] ^ K[i]; end assign n = b ==? M; endmodule""",
    "types of parameters": """typedef logic signed [3:0] nib;
module u #(parameter nib P = 3) (input [7:0] a, output [7:0] y); parameter nib K = 2; assign y = a + P - K; endmodule
module t(input [7:0] a, output [7:0] y, z); u one(a, y); u #(.P(-7), .K(9)) two(a, z); endmodule""",
    "package": """package p; typedef logic [3:0] nib; typedef struct packed { nib hi; nib lo; } pair;
  function automatic nib top(input pair x); return x.hi; endfunction
  function automatic nib inc(input nib x); inc = x + 1; endfunction endpackage
module t(input logic [7:0] a, output logic [3:0] y, z); assign y = p::top(a), z = p::inc(a[3:0]); endmodule""",
    "labels of types": """package p; localparam [1:0] B = 3; endpackage
module t(input logic [3:0] a, output logic [2:0] y, z, u); typedef enum logic [1:0] { E, F = 3 } kind;
  typedef struct packed { logic [1:0] h; logic [1:0] l; } pair; pair x; assign x = a;
  always_comb case (a) p::B + 2'd1: y = 1; F + 2'd3: y = 2; 2'd3 * p::B: y = 3; ~F: y = 4; default: y = 0; endcase
  always_comb unique case (x.h) F + p::B: z = 1; x.l + (1'b1 + 1'b1): z = 2; default: z = 0; endcase
  function automatic [2:0] f(input [3:0] n); int j; begin
    for (j = 0; j < 4; j++) case (n) 4'd1 + j[0], 2'd2 + 2'd3: return 1; default: ; endcase return 2; end endfunction
  assign u = f(a); endmodule""",
    "return": """module t(input [7:0] a, output [3:0] y);
  function automatic [3:0] first(input [7:0] x); integer i; begin
    if (x == 0) return 15; for (i = 0; i < 8; i = i + 1) begin if (x[i]) return i; end return 9; end endfunction
  assign y = first(a); endmodule""",
}


@needs_icarus
@pytest.mark.parametrize("name", [*CIRCUITS, *SYSTEM_VERILOG])
def test_as_under_icarus(name: str, tmp_path: Path) -> None:
    text = CIRCUITS.get(name) or SYSTEM_VERILOG[name]
    path = tmp_path / ("t.v" if name in CIRCUITS else "t.sv")
    path.write_text(text)
    netlist = read(path)
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    drive = Drive(("c",) if "c" in widths else ())
    print("seed", SEED)
    driven = [dict(row) for row in rows(random.Random(SEED), widths, drive, STEPS)]
    design = Design([path], "t", cleared=undefined_registers(netlist))
    tally = compare(netlist, design, driven, tmp_path)
    print(tally)
    assert tally.compared > (0.4 if name == "notif0" else 0.9) * tally.bits
