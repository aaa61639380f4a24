// Parts of vectors chosen by a variable, read and written, upwards and downwards, and a vector numbered from 4.
module selects (input clk, input [4:0] n, input [2:0] m, input [7:0] d, output reg [31:0] q, output [3:0] up, down,
                output bit_at, output [11:4] offset, output [7:0] column);
  initial q = 32'hdeadbeef;
  reg [0:31] reversed = 0;
  always @(posedge clk) begin
    q[n[4:3] * 8 +: 8] <= d;
    q[m] <= ~q[m];
    reversed[n[4:2] * 4 +: 4] <= d[7:4];
  end
  assign up = q[{n[4:2], 2'b00} +: 4];
  assign down = q[{n[4:2], 2'b11} -: 4];
  assign bit_at = q[n];
  assign offset = {d[0], d[7:1]};
  assign column = {reversed[m], offset[4 + m], reversed[0:5]};
endmodule
