// A winch with ramps: speed follows a wish, position follows speed, ends stop it.
module winch (input clk, rst_n, input signed [5:0] wish, output reg signed [11:0] position, output reg signed [5:0] speed,
              output low, high);
  localparam signed [11:0] LOW = -900, HIGH = 900;
  assign low = position <= LOW;
  assign high = position >= HIGH;
  initial begin
    position = 0; speed = 0;
  end
  always @(posedge clk or negedge rst_n)
    if (!rst_n) begin
      position <= 0;
      speed <= 0;
    end else begin
      if ((low && wish < 0) || (high && wish > 0)) speed <= 0;
      else if (speed < wish) speed <= speed + 1;
      else if (speed > wish) speed <= speed - 1;
      position <= position + speed;
    end
endmodule
