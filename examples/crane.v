// The harbour crane: an up and down counter of the load's height, with two end stops. Any ports, any widths.
module crane (
  input clk, restart, hoist, lower,
  output reg [4:0] height,
  output top, bottom
);
  assign top = height == 24;
  assign bottom = height == 0;
  always @(posedge clk)
    if (restart) height <= 0;
    else if (hoist && !lower && !top) height <= height + 1;
    else if (lower && !hoist && !bottom) height <= height - 1;
endmodule
