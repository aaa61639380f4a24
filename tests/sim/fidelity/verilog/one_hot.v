// A machine with one flip-flop a state, written with case (1'b1), and a shift to count laps.
module one_hot (input clk, rst, input [2:0] d, output reg [5:0] state, output reg [15:0] laps, output reg [1:0] kind);
  reg [5:0] next;
  initial begin
    state = 1; laps = 16'hff80;
  end
  always @* begin
    next = 0;
    kind = 0;
    (* parallel_case *) case (1'b1)
      state[0]: begin next[d[0] ? 1 : 0] = 1; kind = 1; end
      state[1]: begin next[d[1] ? 2 : 3] = 1; kind = 2; end
      state[2]: next[3 + d[2]] = 1;
      state[3]: if (d == 5) next[0] = 1; else next[4] = 1;
      state[4]: next[5] = 1;
      state[5]: begin next[0] = 1; kind = 3; end
    endcase
  end
  always @(posedge clk)
    if (rst) begin
      state <= 1;
      laps <= 0;
    end else begin
      state <= next;
      if (state[5]) laps <= laps + 1;
    end
endmodule
