// A signed filter of eight taps in a pipeline, its coefficients made by a constant function.
module filter (input clk, valid, input signed [7:0] d, output reg signed [18:0] q);
  function signed [7:0] tap(input integer k);
    tap = k < 4 ? 17 * k - 9 : 17 * (7 - k) - 9;
  endfunction
  reg signed [18:0] sum [0:7];
  integer i;
  initial begin
    q = 0;
    for (i = 0; i < 8; i = i + 1) sum[i] = 0;
  end
  always @(posedge clk)
    if (valid) begin
      sum[0] <= d * tap(7);
      for (i = 1; i < 8; i = i + 1) sum[i] <= sum[i-1] + d * tap(7 - i);
      q <= sum[7];
    end
endmodule
