// A ferry ticket machine: coins of 10, 20 and 50, a fare of 70, change in tens.
module tickets (input clk, rst, input [1:0] coin, input cancel, output reg ticket, output reg change, output [3:0] shown);
  localparam IDLE = 2'd0, COUNT = 2'd1, PRINT = 2'd2, REFUND = 2'd3;
  reg [1:0] state = IDLE;
  reg [3:0] paid = 0;
  assign shown = paid;
  always @* begin
    ticket = state == PRINT;
    change = state == REFUND && paid != 0;
  end
  always @(posedge clk)
    if (rst) begin
      state <= IDLE;
      paid <= 0;
    end else
      case (state)
        IDLE, COUNT: begin
          if (cancel) state <= REFUND;
          else if (paid >= 7) begin
            state <= PRINT;
            paid <= paid - 7;
          end else begin
            state <= COUNT;
            case (coin)
              2'd1: paid <= paid + 1;
              2'd2: paid <= paid + 2;
              2'd3: paid <= paid + 5;
            endcase
          end
        end
        PRINT: state <= REFUND;
        REFUND: if (paid == 0) state <= IDLE; else paid <= paid - 1;
      endcase
endmodule
