// A decimal counter of four digits, and a binary number in decimal by shift and add 3.
module bcd (input clk, rst, en, input [9:0] binary, output reg [15:0] digits, output reg [11:0] decimal);
  integer i;
  reg carry;
  reg [3:0] digit;
  initial digits = 16'h0995;
  always @(posedge clk) begin
    carry = en;
    for (i = 0; i < 4; i = i + 1) begin
      digit = digits[4*i +: 4];
      if (carry) digits[4*i +: 4] <= digit == 9 ? 4'd0 : digit + 4'd1;
      carry = carry && digit == 9;
    end
    if (rst) digits <= 0;
  end
  integer k;
  always @* begin
    decimal = 0;
    for (k = 9; k >= 0; k = k - 1) begin
      if (decimal[3:0] >= 5) decimal[3:0] = decimal[3:0] + 3;
      if (decimal[7:4] >= 5) decimal[7:4] = decimal[7:4] + 3;
      if (decimal[11:8] >= 5) decimal[11:8] = decimal[11:8] + 3;
      decimal = {decimal[10:0], binary[k]};
    end
  end
endmodule
