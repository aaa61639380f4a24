// A ripple counter that clears itself at ten, so that its clear ends while its own clocks still fall.
module decade (input clk, rst, output [3:0] q);
  wire clear = rst | (q[3] & q[1]);
  divide d0 (clk, clear, q[0]);
  divide d1 (q[0], clear, q[1]);
  divide d2 (q[1], clear, q[2]);
  divide d3 (q[2], clear, q[3]);
endmodule
module divide (input clk, rst, output reg q);
  initial q = 0;
  always @(negedge clk or posedge rst)
    if (rst) q <= 0;
    else q <= ~q;
endmodule
