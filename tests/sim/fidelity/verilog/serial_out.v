// An asynchronous serial transmitter: start bit, eight data bits, even parity, stop bit.
module serial_out #(parameter DIVIDE = 5) (input clk, rst, send, input [7:0] d, output line, output ready);
  reg [10:0] frame = 11'h7ff;
  reg [3:0] left = 0;
  reg [2:0] prescale = 0;
  assign line = frame[0];
  assign ready = left == 0;
  always @(posedge clk)
    if (rst) begin
      frame <= 11'h7ff;
      left <= 0;
      prescale <= 0;
    end else if (ready) begin
      if (send) begin
        frame <= {1'b1, ^d, d, 1'b0};
        left <= 11;
        prescale <= DIVIDE - 1;
      end
    end else if (prescale != 0) prescale <= prescale - 1;
    else begin
      prescale <= DIVIDE - 1;
      frame <= {1'b1, frame[10:1]};
      left <= left - 1;
    end
endmodule
