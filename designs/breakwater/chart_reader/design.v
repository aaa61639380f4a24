// Chart reader: reads one byte of a serial memory again and again and shows half of it.
module chart_reader (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [3:0] address = inputs[5:2];
    wire       upper   = inputs[1];  // which half of the byte is shown
    wire       answer  = inputs[0];  // from the memory

    // A bit lasts four steps, two with the clock low and two with it high (SPI mode 0). What the memory answers when
    // the clock falls is looked at when it rises: two steps, in which a chain of four frames brings it here.
    reg [1:0] quarter;
    reg [8:0] bits;  // 1 to 8 are the command, 9 to 32 the address, 33 to 40 the byte; then a rest of a second
    wire selected = bits >= 9'd1 && bits <= 9'd40;

    reg [31:0] sending;
    reg [7:0]  coming, found;
    reg        any;  // a byte was read since the restart

    always @(posedge step)
        if (restart) begin
            quarter <= 2'd0;
            bits    <= 9'd0;
            sending <= 32'd0;
            coming  <= 8'd0;
            found   <= 8'd0;
            any     <= 1'b0;
        end else begin
            quarter <= quarter + 2'd1;
            if (quarter == 2'd1) coming <= {coming[6:0], answer};  // as the clock rises, the highest bit first
            if (quarter == 2'd3) begin                             // as the clock falls
                bits    <= bits + 9'd1;
                sending <= (bits == 9'd0) ? {8'h03, 20'd0, address} : sending << 1;
                if (bits == 9'd40) {any, found} <= {1'b1, coming};
            end
        end

    wire clock = selected & quarter[1];
    assign outputs = {any, upper ? found[7:4] : found[3:0], sending[31], clock, ~selected};
endmodule
