// CRC-32 of a stream of bytes, the polynomial of IEEE 802.3, by a function with a loop.
module crc (input clk, clear, valid, input [7:0] d, output [31:0] sum);
  reg [31:0] state = 32'hffffffff;
  function [31:0] one_byte(input [31:0] old, input [7:0] value);
    integer i;
    begin
      one_byte = old ^ {24'b0, value};
      for (i = 0; i < 8; i = i + 1) one_byte = one_byte[0] ? (one_byte >> 1) ^ 32'hedb88320 : one_byte >> 1;
    end
  endfunction
  assign sum = ~state;
  always @(posedge clk)
    if (clear) state <= 32'hffffffff;
    else if (valid) state <= one_byte(state, d);
endmodule
