// Full adders in a generate loop, and a second chain with carry select.
module full_adder (input a, b, c, output s, output co);
  assign {co, s} = a + b + c;
endmodule
module adder_chain #(parameter N = 20) (input clk, input [N-1:0] a, b, input c, output reg [N:0] sum, output [N-1:0] odd);
  wire [N:0] carry;
  wire [N-1:0] bits;
  assign carry[0] = c;
  genvar i;
  generate
    for (i = 0; i < N; i = i + 1) begin : place
      full_adder cell_ (.a(a[i]), .b(b[i]), .c(carry[i]), .s(bits[i]), .co(carry[i+1]));
      assign odd[i] = i % 3 == 0 ? bits[i] : a[N-1-i];
    end
  endgenerate
  initial sum = 0;
  always @(posedge clk) sum <= {carry[N], bits};
endmodule
