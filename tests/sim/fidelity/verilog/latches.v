// Transparent latches of both levels, one with reset, and two that make a flip-flop.
module latches (input g, h, rst, input [7:0] d, output reg [7:0] a, b, c, output reg [7:0] q);
  reg [7:0] first = 1;
  initial begin
    a = 1; b = 2; c = 3; q = 4;
  end
  always @* if (g) a = d;
  always @* if (!g) b = d ^ a;
  always @*
    if (rst) c = 8'h0f;
    else if (g & h) c = d + 8'd1;
  always @* if (!h) first = d;
  always @* if (h) q = first;
endmodule
