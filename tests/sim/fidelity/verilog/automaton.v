// A ring of forty cells under a rule of eight bits.
module automaton (input clk, load, input [7:0] rule, input [39:0] d, output reg [39:0] q);
  initial q = 40'h0000100000;
  genvar i;
  generate
    for (i = 0; i < 40; i = i + 1) begin : one
      wire [2:0] seen = {q[(i + 1) % 40], q[i], q[(i + 39) % 40]};
      always @(posedge clk) q[i] <= load ? d[i] : rule[seen];
    end
  endgenerate
endmodule
