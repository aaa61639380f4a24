// Four buttons freed of bounce: each must stand still for seven samples.
module buttons (input clk, input [3:0] raw, output reg [3:0] clean, pressed);
  reg [2:0] timer [0:3];
  reg [3:0] a = 0, b = 0;
  integer i;
  initial begin
    clean = 0; pressed = 0;
    for (i = 0; i < 4; i = i + 1) timer[i] = 0;
  end
  always @(posedge clk) begin
    {b, a} <= {a, raw};
    pressed <= 0;
    for (i = 0; i < 4; i = i + 1)
      if (b[i] == clean[i]) timer[i] <= 0;
      else if (timer[i] == 7) begin
        timer[i] <= 0;
        clean[i] <= b[i];
        pressed[i] <= b[i];
      end else timer[i] <= timer[i] + 1;
  end
endmodule
