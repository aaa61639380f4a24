// The whole square root of 24 bits, two bits a step.
module root (input clk, start, input [23:0] d, output reg [11:0] q, output reg [12:0] rest, output reg busy);
  reg [23:0] value;
  reg [3:0] left;
  wire [13:0] next = {rest[11:0], value[23:22]};
  wire [13:0] trial = {q, 2'b01};
  initial begin
    q = 0; rest = 0; busy = 0; value = 0; left = 0;
  end
  always @(posedge clk)
    if (start) begin
      busy <= 1;
      left <= 12;
      value <= d;
      q <= 0;
      rest <= 0;
    end else if (busy) begin
      if (left == 1) busy <= 0;
      left <= left - 1;
      value <= value << 2;
      rest <= next >= trial ? next - trial : next;
      q <= {q[10:0], next >= trial};
    end
endmodule
