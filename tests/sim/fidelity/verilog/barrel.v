// Shifts and rotations by any distance, over-wide ones too, without a clock.
module barrel (input [31:0] d, input [6:0] n, input signed [31:0] s, output [31:0] left, right, output signed [31:0] slid,
               output [31:0] turned, output [7:0] byte_at);
  assign left = d << n;
  assign right = d >> n;
  assign slid = s >>> n;
  assign turned = (d << n[4:0]) | (d >> (6'd32 - n[4:0]));
  assign byte_at = d[n[1:0] * 8 +: 8];
endmodule
