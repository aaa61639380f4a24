// One module with parameters, used three ways in two levels.
module accumulate #(parameter W = 4, parameter [W-1:0] STEP = 1, parameter INIT = 0)
    (input clk, clear, input [W-1:0] d, output reg [W-1:0] q);
  initial q = INIT;
  always @(posedge clk) q <= clear ? {W{1'b0}} : q + d * STEP;
endmodule
module pair #(parameter W = 8) (input clk, clear, input [W-1:0] d, output [2*W-1:0] q);
  accumulate #(.W(W), .STEP(3), .INIT(7)) low (clk, clear, d, q[W-1:0]);
  accumulate #(.W(W), .STEP(5)) high (.clk(clk), .clear(clear), .d(q[W-1:0] ^ d), .q(q[2*W-1:W]));
endmodule
module hierarchy (input clk, clear, input [11:0] d, output [15:0] wide, output [23:0] wider, output [3:0] narrow);
  pair #(.W(8)) a (clk, clear, d[7:0], wide);
  pair #(.W(12)) b (clk, clear & d[0], d, wider);
  accumulate c (.clk(clk), .clear(1'b0), .d(d[3:0]), .q(narrow));
endmodule
