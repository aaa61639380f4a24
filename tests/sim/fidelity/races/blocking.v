// Two blocks assign to each other at the same edge without `<=`.
module blocking (input clk, output reg a, b);
  initial {a, b} = 2'b10;
  always @(posedge clk) a = b;
  always @(posedge clk) b = a;
endmodule
