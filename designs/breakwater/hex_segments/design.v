// Hex segments: the number on four switches as one digit, in hexadecimal or in decimal.
module hex_segments (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [3:0] number  = inputs[3:0];
    wire       decimal = inputs[4];

    reg [6:0] segments;  // g f e d c b a
    always @*
        case (number)
            4'h0: segments = 7'b0111111;
            4'h1: segments = 7'b0000110;
            4'h2: segments = 7'b1011011;
            4'h3: segments = 7'b1001111;
            4'h4: segments = 7'b1100110;
            4'h5: segments = 7'b1101101;
            4'h6: segments = 7'b1111101;  // with its tail, segment a
            4'h7: segments = 7'b0000111;
            4'h8: segments = 7'b1111111;
            4'h9: segments = 7'b1101111;  // with its tail, segment d
            4'ha: segments = 7'b1110111;
            4'hb: segments = 7'b1111100;  // small: a big B would look like 8
            4'hc: segments = 7'b0111001;
            4'hd: segments = 7'b1011110;  // small: a big D would look like 0
            4'he: segments = 7'b1111001;
            4'hf: segments = 7'b1110001;
        endcase

    // Decimal has no digits above 9: dark, and the point says that there is a number all the same.
    wire too_big = decimal & (number > 4'd9);
    assign outputs = {too_big, too_big ? 7'b0000000 : segments};
endmodule
