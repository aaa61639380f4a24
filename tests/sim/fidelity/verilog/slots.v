// A memory with a write clock and a read clock of its own.
module slots (input wclk, rclk, we, input [2:0] wa, ra, input [11:0] d, output reg [11:0] q, output [11:0] now);
  reg [11:0] store [0:7];
  integer i;
  initial begin
    q = 0;
    for (i = 0; i < 8; i = i + 1) store[i] = 12'h123 * i;
  end
  assign now = store[ra];
  always @(posedge wclk) if (we) store[wa] <= d;
  always @(posedge rclk) q <= store[ra];
endmodule
