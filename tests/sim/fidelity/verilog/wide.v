// Words of 130 bits: sums, differences, comparisons, products, shifts.
module wide (input clk, input [129:0] a, b, input [7:0] n, input [2:0] op, output reg [129:0] q, output less, same,
             output [129:0] both);
  wire signed [129:0] sa = a;
  initial q = 130'h2_ffffffff_ffffffff_ffffffff_ffffffff;
  assign less = a < b;
  assign same = (a ^ q) == 130'b0;
  assign both = {a[64:0], b[129:65]};
  always @(posedge clk)
    case (op)
      0: q <= q + a;
      1: q <= a - b;
      2: q <= a << n;
      3: q <= a >> n;
      4: q <= sa >>> n;
      5: q <= a * b;
      6: q <= {q[0], q[129:1]};
      7: q <= a & ~b | {130{n[0]}} & q;
    endcase
endmodule
