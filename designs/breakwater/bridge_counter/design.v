// Bridge counter: two beams across the fairway under a swing bridge tell how many ships lie in the basin.
module bridge_counter (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [1:0] beams   = inputs[1:0];  // broken: bit 0 by the sea, bit 1 by the basin

    // Whoever breaks one beam first and the other one last has passed; who breaks the same one has turned back.
    reg [1:0] before;
    reg       from_sea;
    reg [3:0] ships;
    reg       doubt;
    wire clear = beams == 2'b00;
    wire came  = clear & from_sea & (before == 2'b10);
    wire left  = clear & ~from_sea & (before == 2'b01);

    always @(posedge step)
        if (restart) begin
            before   <= 2'b00;
            from_sea <= 1'b0;
            ships    <= 4'd0;
            doubt    <= 1'b0;
        end else begin
            before <= beams;
            if (before == 2'b00) from_sea <= beams[0];
            if (came) ships <= (ships == 4'd9) ? 4'd0 : ships + 4'd1;
            if (left) ships <= (ships == 4'd0) ? 4'd9 : ships - 4'd1;
            if (beams == ~before) doubt <= 1'b1;  // both beams changed at once: nobody knows which was first
        end

    reg [6:0] digit;  // g f e d c b a
    always @*
        case (ships)
            4'd0:    digit = 7'b0111111;
            4'd1:    digit = 7'b0000110;
            4'd2:    digit = 7'b1011011;
            4'd3:    digit = 7'b1001111;
            4'd4:    digit = 7'b1100110;
            4'd5:    digit = 7'b1101101;
            4'd6:    digit = 7'b1111101;
            4'd7:    digit = 7'b0000111;
            4'd8:    digit = 7'b1111111;
            default: digit = 7'b1101111;
        endcase

    assign outputs = {doubt, digit};
endmodule
