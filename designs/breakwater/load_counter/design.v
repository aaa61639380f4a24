// Load counter: counts sacks on the quay in decimal, two digits of which a switch chooses the one on display.
module load_counter (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];
    wire sack    = inputs[0];
    wire tens_on = inputs[1];  // which digit is shown

    // A sack counts once, at the first step that sees it.
    reg       before;
    reg [3:0] ones, tens;
    always @(posedge step) begin
        before <= sack;
        if (restart) {tens, ones} <= 8'h00;
        else if (sack & ~before) begin
            ones <= (ones == 4'd9) ? 4'd0 : ones + 4'd1;
            if (ones == 4'd9) tens <= (tens == 4'd9) ? 4'd0 : tens + 4'd1;
        end
    end

    wire [3:0] digit = tens_on ? tens : ones;
    reg  [6:0] segments;  // g f e d c b a
    always @*
        case (digit)
            4'd0:    segments = 7'b0111111;
            4'd1:    segments = 7'b0000110;
            4'd2:    segments = 7'b1011011;
            4'd3:    segments = 7'b1001111;
            4'd4:    segments = 7'b1100110;
            4'd5:    segments = 7'b1101101;
            4'd6:    segments = 7'b1111101;
            4'd7:    segments = 7'b0000111;
            4'd8:    segments = 7'b1111111;
            default: segments = 7'b1101111;
        endcase

    assign outputs = {tens_on, segments};
endmodule
