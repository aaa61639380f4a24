// Data that changes at the instant of the edge.
module together (input clk, d, output reg q);
  initial q = 0;
  always @(posedge clk) q <= d;
endmodule
