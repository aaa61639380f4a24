// A ripple counter: each flip-flop is the clock of the next; its reset takes it near the end.
module toggle #(parameter FIRST = 0) (input clk, rst, output reg q);
  initial q = FIRST;
  always @(negedge clk or posedge rst)
    if (rst) q <= FIRST;
    else q <= ~q;
endmodule
module ripple (input clk, rst, output [23:0] q);
  genvar i;
  generate
    for (i = 0; i < 24; i = i + 1) begin : stage
      if (i == 0) toggle #(0) t (clk, rst, q[0]);
      else toggle #(i > 4 && i < 23) t (q[i-1], rst, q[i]);
    end
  endgenerate
endmodule
