// Signed and mixed arithmetic: extension, comparison, division, power, shifts.
module signed_math (input clk, input signed [9:0] a, input signed [6:0] b, input [6:0] u, output reg signed [16:0] product,
                    output reg signed [11:0] sum, output [9:0] mixed, output signed [9:0] quotient, remainder,
                    output [5:0] compared, output signed [19:0] wide, output [15:0] power);
  wire signed [6:0] odd = b | 7'sd1;
  initial begin
    product = 0; sum = 0;
  end
  always @(posedge clk) begin
    product <= a * b;
    sum <= a + b - $signed({1'b0, u});
  end
  assign mixed = a + u;
  assign quotient = a / odd;
  assign remainder = a % odd;
  assign compared = {a < b, a <= b, a == b, a > $signed(u), a > u, a[9:3] != b};
  assign wide = (a <<< 4) - (b >>> 2) + (a >>> u[2:0]);
  assign power = u[3:0] ** 3;
endmodule
