// Reset goes while set stays: a level that Verilog's list of events cannot express.
module released (input clk, rst, set, output reg q);
  initial q = 0;
  always @(posedge clk or posedge rst or posedge set)
    if (rst) q <= 0;
    else if (set) q <= 1;
    else q <= 0;
endmodule
