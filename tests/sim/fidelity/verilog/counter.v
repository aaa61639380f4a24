// A counter that loads, counts up and down, saturates on request.
module counter (input clk, rst, load, up, en, stay, input [23:0] d, output reg [23:0] q, output zero, full);
  initial q = 24'h00fffe;
  assign zero = q == 0;
  assign full = &q;
  always @(posedge clk)
    if (rst) q <= 0;
    else if (load) q <= d;
    else if (en && up) q <= (stay && full) ? q : q + 1;
    else if (en) q <= (stay && zero) ? q : q - 1;
endmodule
