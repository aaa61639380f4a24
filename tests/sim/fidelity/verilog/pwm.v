// Three channels of pulse width on one ramp, each duty taken over at the start of a period.
module pwm (input clk, rst, we, input [1:0] channel, input [7:0] duty, output reg [2:0] out, output [7:0] ramp);
  reg [7:0] wanted [0:2];
  reg [7:0] held [0:2];
  reg [7:0] count = 8'hf0;
  integer i;
  initial begin
    out = 0;
    for (i = 0; i < 3; i = i + 1) begin
      wanted[i] = 8'd40 * i;
      held[i] = 8'd50 * i;
    end
  end
  assign ramp = count;
  always @(posedge clk) begin
    count <= rst ? 8'd0 : count + 8'd1;
    if (we && channel < 3) wanted[channel] <= duty;
    for (i = 0; i < 3; i = i + 1) begin
      if (count == 255) held[i] <= wanted[i];
      out[i] <= count < held[i];
    end
  end
endmodule
