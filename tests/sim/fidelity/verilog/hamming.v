// Eight bits guarded by four, one error put right.
module hamming (input clk, input [7:0] d, input [11:0] noise, output reg [11:0] code, output reg [7:0] q, output reg [3:0] where);
  wire [11:0] word;
  assign {word[11:8], word[6:4], word[2]} = d;
  assign word[0] = word[2] ^ word[4] ^ word[6] ^ word[8] ^ word[10];
  assign word[1] = word[2] ^ word[5] ^ word[6] ^ word[9] ^ word[10];
  assign word[3] = word[4] ^ word[5] ^ word[6] ^ word[11];
  assign word[7] = ^word[11:8];
  wire [3:0] syndrome = {^(code & 12'hf80), ^(code & 12'h878), ^(code & 12'h666), ^(code & 12'h555)};
  wire [11:0] fixed = syndrome == 0 ? code : code ^ (12'b1 << (syndrome - 1));
  initial begin
    code = 0; q = 0; where = 0;
  end
  always @(posedge clk) begin
    code <= word ^ noise;
    q <= {fixed[11:8], fixed[6:4], fixed[2]};
    where <= syndrome;
  end
endmodule
