// Registers with asynchronous reset of either level, with and without enable, to ones and to zeros.
module async_reset (input clk, rst_n, set, en, input [7:0] d, output reg [7:0] a, b, c, output reg [7:0] e);
  initial begin
    a = 3; b = 4; c = 5; e = 6;
  end
  always @(posedge clk or negedge rst_n)
    if (!rst_n) a <= 8'h5a;
    else a <= d + a;
  always @(posedge clk or negedge rst_n)
    if (!rst_n) b <= 0;
    else if (en) b <= b + 1;
  always @(posedge clk or posedge set)
    if (set) c <= 8'hff;
    else if (en) c <= c ^ d;
  always @(negedge clk or posedge set)
    if (set) e <= 8'h81;
    else e <= {e[6:0], a[7]};
endmodule
