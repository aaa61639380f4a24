// A Gray counter of any width beside the binary count that it stands for.
module gray #(parameter WIDTH = 12) (input clk, rst, en, output reg [WIDTH-1:0] code, output reg [WIDTH-1:0] back);
  reg [WIDTH-1:0] count = 12'h7f0;
  wire [WIDTH-1:0] next = count + en;
  integer i;
  initial code = 12'h7f0 ^ (12'h7f0 >> 1);
  always @(posedge clk)
    if (rst) begin
      count <= 0;
      code <= 0;
    end else begin
      count <= next;
      code <= next ^ (next >> 1);
    end
  always @* begin
    back[WIDTH-1] = code[WIDTH-1];
    for (i = WIDTH - 2; i >= 0; i = i - 1) back[i] = back[i+1] ^ code[i];
  end
endmodule
