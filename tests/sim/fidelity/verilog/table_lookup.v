// A table that is never written (a quarter of a sine), read with and without a register, and one that is not a power of two.
module table_lookup (input clk, input [5:0] phase, input [3:0] item, output reg [7:0] level, output [7:0] now,
                     output [4:0] price);
  reg [7:0] quarter [0:15];
  reg [4:0] prices [0:9];
  reg sign = 0;
  integer i;
  initial begin
    level = 0;
    quarter[0] = 6; quarter[1] = 19; quarter[2] = 31; quarter[3] = 43; quarter[4] = 54; quarter[5] = 65; quarter[6] = 76;
    quarter[7] = 85; quarter[8] = 94; quarter[9] = 102; quarter[10] = 109; quarter[11] = 115; quarter[12] = 120;
    quarter[13] = 123; quarter[14] = 126; quarter[15] = 127;
    for (i = 0; i < 10; i = i + 1) prices[i] = 3 * i + 1;
  end
  wire [3:0] at = phase[4] ? ~phase[3:0] : phase[3:0];
  assign now = phase[5] ? -quarter[at] : quarter[at];
  assign price = item < 10 ? prices[item] : 5'd0;
  always @(posedge clk) begin
    level <= sign ? 8'd128 - quarter[at] : 8'd128 + quarter[at];
    sign <= phase[5];
  end
endmodule
