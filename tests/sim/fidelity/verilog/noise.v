// Marsaglia's xorshift of 64 bits, one number a step, with blocking assignments in the clocked block.
module noise (input clk, load, input [31:0] seed, output [15:0] q, output parity);
  reg [63:0] x = 64'd88172645463325252;
  reg [63:0] t;
  always @(posedge clk)
    if (load) x <= {seed, ~seed};
    else begin
      t = x;
      t = t ^ (t << 13);
      t = t ^ (t >> 7);
      t = t ^ (t << 17);
      x <= t;
    end
  assign q = x[40 +: 16];
  assign parity = ^x;
endmodule
