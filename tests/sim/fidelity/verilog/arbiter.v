// Six askers in turn; whoever holds the berth keeps it while asking.
module arbiter (input clk, rst, input [5:0] ask, output reg [5:0] grant, output reg [23:0] served);
  reg [5:0] after;
  wire [11:0] doubled = {ask, ask};
  wire [11:0] first = doubled & ~(doubled - {6'b0, after});
  initial begin
    grant = 0; served = 24'hfffff0; after = 1;
  end
  always @(posedge clk)
    if (rst) begin
      grant <= 0;
      after <= 1;
      served <= 0;
    end else if ((grant & ask) == 0) begin
      grant <= first[5:0] | first[11:6];
      if (ask != 0) begin
        after <= {first[4:0] | first[10:6], first[5] | first[11]};
        served <= served + 1;
      end
    end
endmodule
