// A word handed from one clock to another with a toggle in each direction.
module two_clocks (input clk_a, clk_b, send, input [7:0] d, output reg [7:0] q, output busy, output reg [7:0] taken);
  reg [7:0] held = 0;
  reg ask = 0, answer = 0;
  reg [2:0] ask_b = 0;
  reg [1:0] answer_a = 0;
  initial begin
    q = 0; taken = 0;
  end
  assign busy = ask != answer_a[1];
  always @(posedge clk_a) begin
    answer_a <= {answer_a[0], answer};
    if (send && !busy) begin
      held <= d;
      ask <= ~ask;
    end
  end
  always @(posedge clk_b) begin
    ask_b <= {ask_b[1:0], ask};
    if (ask_b[2] != ask_b[1]) begin
      q <= held;
      answer <= ask_b[1];
      taken <= taken + 1;
    end
  end
endmodule
