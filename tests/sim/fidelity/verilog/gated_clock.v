// Clocks behind gates: one with a latch that opens while the clock is low, one with a plain enable.
module gated_clock (input clk, en, test, input [7:0] d, output reg [7:0] a, b, output gated);
  reg open = 0;
  always @* if (!clk) open = en | test;
  assign gated = clk & open;
  initial begin
    a = 0; b = 9;
  end
  always @(posedge gated) a <= a + d;
  always @(negedge gated) b <= {b[6:0], ^d};
endmodule
