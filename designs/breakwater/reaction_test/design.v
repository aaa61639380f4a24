// Reaction test: how many whole steps pass between a light that comes when it likes and the lookout's button.
module reaction_test (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];
    wire button  = inputs[0];

    localparam REST = 2'd0, WAIT = 2'd1, LIGHT = 2'd2, EARLY = 2'd3;
    reg [1:0] state;
    reg [6:1] chance;   // runs on all the time, so that the moment of the first press decides how long to wait
    reg [6:0] waiting;  // steps until the light
    reg [3:0] count;    // steps since the light; 10 stands for any more
    reg       before;   // the button at the last step

    wire pressed = button & ~before;

    always @(posedge step) begin
        before <= button;
        // Taps 6 and 5 take it through every state but all ones (tap table in Xilinx XAPP 052, bits counted from 1).
        chance <= restart ? 6'd0 : {chance[5:1], ~(chance[6] ^ chance[5])};
        if (restart) begin
            state   <= REST;
            count   <= 4'd0;
            waiting <= 7'd0;
        end else case (state)
            WAIT:
                if (pressed) state <= EARLY;
                else if (waiting == 7'd0) begin
                    state <= LIGHT;
                    count <= 4'd0;
                end else waiting <= waiting - 7'd1;
            LIGHT:
                if (pressed) state <= REST;
                else if (count != 4'd10) count <= count + 4'd1;
            default:  // at rest, or after a false start
                if (pressed) begin
                    state   <= WAIT;
                    waiting <= 7'd25 + chance;
                end
        endcase
    end

    reg [6:0] digit;  // g f e d c b a
    always @*
        case (count)
            4'd0:    digit = 7'b0111111;
            4'd1:    digit = 7'b0000110;
            4'd2:    digit = 7'b1011011;
            4'd3:    digit = 7'b1001111;
            4'd4:    digit = 7'b1100110;
            4'd5:    digit = 7'b1101101;
            4'd6:    digit = 7'b1111101;
            4'd7:    digit = 7'b0000111;
            4'd8:    digit = 7'b1111111;
            4'd9:    digit = 7'b1101111;
            default: digit = 7'b1000000;  // too slow
        endcase

    // The light is the point alone; a false start is a bar at the bottom; the wait is dark.
    assign outputs = (state == REST)  ? {1'b0, digit}
                   : (state == LIGHT) ? 8'b1000_0000
                   : (state == EARLY) ? 8'b0000_1000
                   :                    8'b0000_0000;
endmodule
