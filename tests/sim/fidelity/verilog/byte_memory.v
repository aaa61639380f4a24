// A memory of 32 words with a write enable for each byte; reads give the old word, a cycle later.
module byte_memory (input clk, input [3:0] we, input [4:0] address, input [31:0] d, output reg [31:0] q,
                    output [7:0] peek);
  reg [31:0] store [0:31];
  integer i;
  initial begin
    q = 0;
    for (i = 0; i < 32; i = i + 1) store[i] = {4{i[7:0]}} ^ 32'ha5000000;
  end
  assign peek = store[address][15:8];
  always @(posedge clk) begin
    q <= store[address];
    for (i = 0; i < 4; i = i + 1) if (we[i]) store[address][8*i +: 8] <= d[8*i +: 8];
  end
endmodule
