// Position and speed of a shaft from two tracks in quadrature.
module quadrature (input clk, rst, a, b, output reg signed [15:0] position, output reg [7:0] speed, output reg slipped);
  reg [1:0] last = 0, now = 0;
  reg [7:0] edges = 0;
  reg [5:0] window = 0;
  wire [1:0] turn = last ^ now;
  initial begin
    position = -3; speed = 0; slipped = 0;
  end
  always @(posedge clk) begin
    now <= {a, b};
    last <= now;
    window <= window + 1;
    if (window == 0) begin
      speed <= edges;
      edges <= 0;
    end else if (turn != 0) edges <= edges + 1;
    if (rst) begin
      position <= 0;
      slipped <= 0;
    end else if (turn == 2'b11) slipped <= 1;
    else if (turn != 0) position <= (now[1] ^ last[0]) ? position + 1 : position - 1;
  end
endmodule
