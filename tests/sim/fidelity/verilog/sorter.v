// Eight numbers of four bits through a sorting network, a register after every stage.
module sorter (input clk, input [31:0] d, output [31:0] q);
  reg [31:0] stage [0:7];
  integer k;
  initial for (k = 0; k < 8; k = k + 1) stage[k] = 32'h01234567;
  wire [31:0] first = d;
  genvar s, i;
  generate
    for (s = 0; s < 8; s = s + 1) begin : layer
      wire [31:0] from;
      if (s == 0) assign from = first;
      else assign from = stage[s-1];
      wire [31:0] to;
      for (i = 0; i < 8; i = i + 1) begin : lane
        if (i % 2 == s % 2 && i < 7) begin : pair
          wire swap = from[4*i +: 4] > from[4*i + 4 +: 4];
          assign to[4*i +: 4] = swap ? from[4*i + 4 +: 4] : from[4*i +: 4];
          assign to[4*i + 4 +: 4] = swap ? from[4*i +: 4] : from[4*i + 4 +: 4];
        end else if ((i == 0 && s % 2 == 1) || (i == 7 && s % 2 == 1)) begin : alone
          assign to[4*i +: 4] = from[4*i +: 4];
        end
      end
      always @(posedge clk) stage[s] <= to;
    end
  endgenerate
  assign q = stage[7];
endmodule
