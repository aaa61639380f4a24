// A serial multiplier by Booth's rule, sixteen signed bits each.
module multiplier (input clk, start, input signed [15:0] a, b, output reg signed [31:0] p, output reg busy);
  reg signed [16:0] high;
  reg [16:0] low;
  reg signed [15:0] held;
  reg [4:0] left;
  reg signed [16:0] next;
  initial begin
    p = 0; busy = 0; high = 0; low = 0; held = 0; left = 0;
  end
  always @* begin
    next = high;
    case (low[1:0])
      2'b01: next = high + held;
      2'b10: next = high - held;
    endcase
  end
  always @(posedge clk)
    if (!busy) begin
      if (start) begin
        busy <= 1;
        left <= 16;
        held <= a;
        high <= 0;
        low <= {b, 1'b0};
      end
    end else if (left == 0) begin
      busy <= 0;
      p <= {high[15:0], low[16:1]};
    end else begin
      left <= left - 1;
      high <= next >>> 1;
      low <= {next[0], low[16:1]};
    end
endmodule
