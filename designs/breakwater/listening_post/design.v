// Listening post: hears a character on a serial line and shows it as two hexadecimal digits, one at a time.
module listening_post (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];
    wire serial  = inputs[0];  // high at rest
    wire upper   = inputs[1];  // which digit is shown

    // The sender's clock is not ours: two flip-flops in a row before anything looks at the line, the third
    // to see it fall.
    reg [2:0] line;
    wire level = line[1];
    wire fell  = line[2] & ~line[1];

    reg [3:0] left;     // bits still to come: 10 the start bit, 9 to 2 the data, 1 the stop bit, 0 at rest
    reg [2:0] waiting;  // steps until the middle of the next of them
    reg [7:0] bits, letter;
    reg       broken;   // there was no stop bit

    always @(posedge step)
        if (restart) begin
            line    <= 3'b111;
            left    <= 4'd0;
            waiting <= 3'd0;
            bits    <= 8'd0;
            letter  <= 8'd0;
            broken  <= 1'b0;
        end else begin
            line <= {line[1:0], serial};
            if (left == 4'd0) begin
                if (fell) begin
                    left    <= 4'd10;
                    waiting <= 3'd1;  // a bit lasts five steps: two from its edge to its middle
                end
            end else if (waiting != 3'd0) waiting <= waiting - 3'd1;
            else begin
                waiting <= 3'd4;
                bits    <= {level, bits[7:1]};  // the lowest bit comes first
                left    <= (left == 4'd10 && level) ? 4'd0 : left - 4'd1;  // a start bit that is high was a click
                if (left == 4'd1) begin
                    broken <= ~level;
                    if (level) letter <= bits;
                end
            end
        end

    reg [6:0] digit;  // g f e d c b a
    always @*
        case (upper ? letter[7:4] : letter[3:0])
            4'h0: digit = 7'b0111111;
            4'h1: digit = 7'b0000110;
            4'h2: digit = 7'b1011011;
            4'h3: digit = 7'b1001111;
            4'h4: digit = 7'b1100110;
            4'h5: digit = 7'b1101101;
            4'h6: digit = 7'b1111101;
            4'h7: digit = 7'b0000111;
            4'h8: digit = 7'b1111111;
            4'h9: digit = 7'b1101111;
            4'ha: digit = 7'b1110111;
            4'hb: digit = 7'b1111100;
            4'hc: digit = 7'b0111001;
            4'hd: digit = 7'b1011110;
            4'he: digit = 7'b1111001;
            4'hf: digit = 7'b1110001;
        endcase

    assign outputs = {broken, digit};
endmodule
