// A dozen small circuits whose compiled text is kept beside them: between them they have every way of settling,
// finding an edge and taking a new value that the compiler writes.

module counter(input clk, input reset, input [2:0] by, output reg [3:0] count);
  always @(posedge clk) if (reset) count <= 0; else count <= count + by;
endmodule

module override(input clk, input clear, input [2:0] d, output reg [2:0] q);
  always @(negedge clk or posedge clear) if (clear) q <= 3'd5; else q <= d;
endmodule

module latch(input open, input [1:0] d, output reg [1:0] q);
  always @* if (open) q = d;
endmodule

module ripple(input clk, input clear, output reg a, output reg b);
  always @(posedge clk) if (clear) a <= 0; else a <= ~a;
  always @(negedge a) if (clear) b <= 0; else b <= ~b;
endmodule

module gated(input clk, input enable, input d, output reg q);
  wire go = clk & enable;
  always @(posedge go) q <= d;
endmodule

module nor_pair(input s, input r, output q, output n);
  assign q = ~(r | n);
  assign n = ~(s | q);
endmodule

module table_memory(input clk, input we, input [1:0] at, input [2:0] d, output [2:0] now, output reg [2:0] then);
  reg [2:0] rows [0:2];
  always @(posedge clk) begin
    if (we) rows[at] <= d;
    then <= rows[at];
  end
  assign now = rows[at];
endmodule

module signed_mix(input signed [3:0] a, input signed [6:0] b, input [2:0] n,
                  output signed [8:0] sum, output less, output signed [6:0] half, output [5:0] shifted);
  assign sum = a + b;
  assign less = a < b;
  assign half = b >>> n;
  assign shifted = {3'b101, n} << n;
endmodule

module divide(input [4:0] a, input [2:0] b, output [4:0] quotient, output [2:0] rest);
  assign quotient = a / b;
  assign rest = a % b;
endmodule

module choose(input [2:0] which, input [3:0] a, input [3:0] b, output reg [3:0] y, output [3:0] part);
  always @* case (which)
    3'd0: y = a;
    3'd1: y = b;
    3'd5: y = a ^ b;
    default: y = 4'd9;
  endcase
  wire [15:0] all = {b, a, ~b, ~a};
  assign part = all[which +: 4];
endmodule

module wide(input clk, input [66:0] d, output reg [66:0] q, output all, output odd);
  always @(posedge clk) q <= d + q;
  assign all = &q;
  assign odd = ^q;
endmodule

module machine(input clk, input reset, input go, output reg [1:0] state, output reg [2:0] left);
  always @(posedge clk)
    if (reset) begin state <= 0; left <= 0; end
    else case (state)
      2'd0: if (go) begin state <= 1; left <= 5; end
      2'd1: begin left <= left - 1; if (left == 1) state <= 2; end
      2'd2: state <= 0;
      default: state <= 0;
    endcase
endmodule
