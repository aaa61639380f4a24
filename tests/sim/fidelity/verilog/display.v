// Four digits on one set of seven segments, one digit after the other.
module display (input clk, load, input [15:0] d, input [3:0] points, output reg [6:0] segments, output point,
                output reg [3:0] digit_n);
  reg [15:0] held = 16'h8421;
  reg [3:0] scan = 0;
  wire [1:0] place = scan[3:2];
  wire [3:0] value = held >> (place * 4);
  always @* begin
    digit_n = ~(4'b1 << place);
    case (value)
      4'h0: segments = 7'b0111111;
      4'h1: segments = 7'b0000110;
      4'h2: segments = 7'b1011011;
      4'h3: segments = 7'b1001111;
      4'h4: segments = 7'b1100110;
      4'h5: segments = 7'b1101101;
      4'h6: segments = 7'b1111101;
      4'h7: segments = 7'b0000111;
      4'h8: segments = 7'b1111111;
      4'h9: segments = 7'b1101111;
      default: segments = 7'b1000000;
    endcase
    if (scan[1:0] == 0) segments = 0;
  end
  assign point = points[place];
  always @(posedge clk) begin
    scan <= scan + 1;
    if (load) held <= d;
  end
endmodule
