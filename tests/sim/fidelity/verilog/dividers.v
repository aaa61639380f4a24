// Clocks made from clocks: by two, by six, and a register on each.
module dividers (input clk, rst, input [7:0] d, output reg half, sixth, output reg [7:0] a, b, c);
  reg [1:0] third = 0;
  initial begin
    half = 0; sixth = 0; a = 1; b = 2; c = 3;
  end
  always @(posedge clk or posedge rst)
    if (rst) half <= 0;
    else half <= ~half;
  always @(posedge half or posedge rst)
    if (rst) begin
      third <= 0;
      sixth <= 0;
    end else begin
      third <= third == 2 ? 2'd0 : third + 2'd1;
      if (third == 2) sixth <= ~sixth;
    end
  always @(posedge clk) a <= a + d;
  always @(posedge half) b <= b ^ d;
  always @(negedge sixth) c <= c + 8'd1;
endmodule
