// A restoring divider, one bit a step; by zero it answers all ones.
module divider (input clk, start, input [15:0] n, d, output reg [15:0] quotient, remainder, output reg ready);
  reg [15:0] top, rest, under;
  reg [4:0] left;
  wire [16:0] trial = {top, rest[15]} - {1'b0, under};
  initial begin
    quotient = 0; remainder = 0; ready = 1; top = 0; rest = 0; under = 0; left = 0;
  end
  always @(posedge clk)
    if (ready) begin
      if (start) begin
        ready <= 0;
        top <= 0;
        rest <= n;
        under <= d;
        left <= 16;
      end
    end else if (left != 0) begin
      left <= left - 1;
      top <= trial[16] ? {top[14:0], rest[15]} : trial[15:0];
      rest <= {rest[14:0], ~trial[16]};
    end else begin
      ready <= 1;
      quotient <= rest;
      remainder <= top;
    end
endmodule
