// A transmitter and a receiver in loop, with one line between them that may be held at 0.
module serial_in (input clk, rst, send, hold, input [7:0] d, output reg [7:0] q, output reg done, failed, output ready);
  wire line;
  serial_out #(.DIVIDE(4)) tx (.clk(clk), .rst(rst), .send(send), .d(d), .line(line), .ready(ready));
  wire seen = line & ~hold;
  reg [9:0] bits = 0;
  reg [3:0] left = 0;
  reg [1:0] wait_for = 0;
  reg [1:0] last = 3;
  initial {q, done, failed} = 0;
  always @(posedge clk) begin
    done <= 0;
    last <= {last[0], seen};
    if (rst) begin
      left <= 0;
      wait_for <= 0;
    end else if (left == 0) begin
      if (last == 2'b10) begin
        left <= 10;
        wait_for <= 3;
      end
    end else if (wait_for != 0) wait_for <= wait_for - 1;
    else begin
      wait_for <= 3;
      bits <= {last[0], bits[9:1]};
      left <= left - 1;
      if (left == 1) begin
        done <= 1;
        q <= bits[8:1];
        failed <= ^bits[9:1];
      end
    end
  end
endmodule
