// Sixteen registers, two read ports, one write port, register 0 always 0.
module register_file (input clk, we, input [3:0] wa, ra, rb, input [15:0] wd, output [15:0] a, output reg [15:0] b);
  reg [15:0] file [15:0];
  integer i;
  initial begin
    for (i = 0; i < 16; i = i + 1) file[i] = i * 16'h0101;
    b = 0;
  end
  assign a = ra == 0 ? 16'd0 : file[ra];
  always @(posedge clk) begin
    if (we) file[wa] <= wd;
    b <= rb == 0 ? 16'd0 : file[rb];
  end
endmodule
