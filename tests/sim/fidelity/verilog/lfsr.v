// Two shift registers with feedback: one with its taps outside, one with them inside.
module lfsr (input clk, load, input [31:0] seed, output reg [31:0] inner = 1, output reg [15:0] outer = 16'hace1,
             output [3:0] mixed);
  wire tap = outer[0] ^ outer[2] ^ outer[3] ^ outer[5];
  always @(posedge clk)
    if (load) begin
      inner <= seed;
      outer <= seed[15:0] | 1;
    end else begin
      inner <= (inner >> 1) ^ (inner[0] ? 32'h80200003 : 32'h0);
      outer <= {tap, outer[15:1]};
    end
  assign mixed = inner[7:4] ~^ outer[3:0];
endmodule
