// A serial transmitter, 8N1, sixteen clocks a bit, that sends a message for ever.
module serial (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    localparam IDLE = 2'd0, START = 2'd1, DATA = 2'd2, STOP = 2'd3;
    localparam [127:0] MESSAGE = "WIND SW 6 SEA 4\n";

    reg [1:0] step = IDLE;
    reg [3:0] divider = 4'd0;
    reg [2:0] number = 3'd0;
    reg [3:0] index = 4'd0;
    reg [7:0] shift = 8'd0;
    wire tick = divider == 4'd15;
    wire busy = step != IDLE;
    reg line;

    always @(posedge clk)
        if (rst) begin
            step <= IDLE;
            divider <= 4'd0;
            number <= 3'd0;
            index <= 4'd0;
            shift <= 8'd0;
        end else begin
            if (busy)
                divider <= divider + 4'd1;
            case (step)
                IDLE:
                    if (inputs[0]) begin
                        shift <= MESSAGE[8 * (15 - index) +: 8];
                        divider <= 4'd0;
                        step <= START;
                    end
                START:
                    if (tick) begin
                        number <= 3'd0;
                        step <= DATA;
                    end
                DATA:
                    if (tick) begin
                        shift <= shift >> 1;
                        number <= number + 3'd1;
                        if (number == 3'd7)
                            step <= STOP;
                    end
                STOP:
                    if (tick) begin
                        index <= index + 4'd1;
                        step <= IDLE;
                    end
            endcase
        end

    always @*
        case (step)
            START: line = 1'b0;
            DATA: line = shift[0];
            default: line = 1'b1;
        endcase

    assign outputs = {index, 1'b0, busy && divider == 4'd0, busy, line};
endmodule
