// Functions and tasks: weight, leading zeros, reversal, one called from another.
module functions (input clk, input [15:0] d, output reg [4:0] weight, zeros, output reg [15:0] reversed, output [7:0] both);
  function [4:0] count(input [15:0] v);
    integer i;
    begin
      count = 0;
      for (i = 0; i < 16; i = i + 1) count = count + v[i];
    end
  endfunction
  function [4:0] leading(input [15:0] v);
    reg going;
    integer i;
    begin
      leading = 0;
      going = 1;
      for (i = 15; i >= 0; i = i - 1)
        if (going) begin
          if (v[i]) going = 0;
          else leading = leading + 1;
        end
    end
  endfunction
  function [7:0] joined(input [15:0] v);
    joined = {count(v), 3'b0} + leading(~v);
  endfunction
  task reverse(input [15:0] v, output [15:0] r);
    integer i;
    for (i = 0; i < 16; i = i + 1) r[i] = v[15 - i];
  endtask
  reg [15:0] turned;
  always @* reverse(d, turned);
  assign both = joined(d);
  initial {weight, zeros, reversed} = 0;
  always @(posedge clk) begin
    weight <= count(d ^ reversed);
    zeros <= leading(d);
    reversed <= turned;
  end
endmodule
