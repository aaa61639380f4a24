// A register on a derived clock takes data that moved together with that clock.
module derived (input clk, output reg [3:0] q);
  reg half = 0;
  reg [3:0] d = 5;
  initial q = 0;
  always @(posedge clk) begin
    half <= ~half;
    d <= d + 1;
  end
  always @(posedge half) q <= d;
endmodule
