// Dice: a shift register with feedback runs while i0 is 1 and shows a face when it is let go.
module dice (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];
    wire roll    = inputs[0];

    // Taps 15 and 14 take it through every state but all ones (tap table in Xilinx XAPP 052, bits counted from 1).
    reg [15:1] state;
    always @(posedge step)
        if (restart)   state <= 15'd0;
        else if (roll) state <= {state[14:1], ~(state[15] ^ state[14])};

    // Three bits have eight values and a dice has six faces: 0 and 7 are a dice that leans, to be rolled again.
    wire [2:0] face = state[3:1];
    reg  [6:0] segments;  // g f e d c b a
    always @*
        case (face)
            3'd1:    segments = 7'b0000110;
            3'd2:    segments = 7'b1011011;
            3'd3:    segments = 7'b1001111;
            3'd4:    segments = 7'b1100110;
            3'd5:    segments = 7'b1101101;
            3'd6:    segments = 7'b1111101;
            default: segments = 7'b1000000;
        endcase

    assign outputs = {roll, segments};
endmodule
