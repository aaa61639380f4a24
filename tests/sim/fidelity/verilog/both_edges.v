// A pipeline that moves on both edges of the clock.
module both_edges (input clk, rst, input [11:0] d, output [11:0] q, output reg [11:0] first, second);
  initial begin
    first = 12'h111; second = 12'h222;
  end
  always @(posedge clk) first <= rst ? 12'd0 : d + second;
  always @(negedge clk) second <= rst ? 12'd0 : {first[10:0], first[11]};
  assign q = clk ? first : second;
endmodule
