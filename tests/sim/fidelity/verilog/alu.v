// Arithmetic with and without sign, results and flags held in registers.
module alu (input clk, input [3:0] op, input [15:0] a, b, output reg [15:0] y, output reg carry, zero, negative, overflow);
  wire signed [15:0] sa = a, sb = b;
  reg [16:0] sum;
  initial {y, carry, zero, negative, overflow} = 0;
  always @* begin
    sum = 0;
    case (op)
      0: sum = a + b;
      1: sum = a - b;
      2: sum = {1'b0, a & b};
      3: sum = {1'b0, a | b};
      4: sum = {1'b0, a ^ b};
      5: sum = {1'b0, ~(a | b)};
      6: sum = {16'b0, a < b};
      7: sum = {16'b0, sa < sb};
      8: sum = {1'b0, a << b[3:0]};
      9: sum = {1'b0, a >> b[3:0]};
      10: sum = {1'b0, $unsigned(sa >>> b[3:0])};
      11: sum = {1'b0, a * b};
      12: sum = sa * sb;
      13: sum = {16'b0, sa >= sb};
      14: sum = -sa;
      default: sum = {16'b0, ^a};
    endcase
  end
  always @(posedge clk) begin
    y <= sum[15:0];
    carry <= sum[16];
    zero <= sum[15:0] == 0;
    negative <= sum[15];
    overflow <= op == 0 ? (a[15] == b[15]) && (sum[15] != a[15]) : (a[15] != b[15]) && (sum[15] != a[15]);
  end
endmodule
