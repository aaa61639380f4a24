// Tape machine: a processor of eight instructions that reads its program, bit by bit, from a serial memory.
module tape_machine (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step     = inputs[7];
    wire       restart  = inputs[6];
    wire [4:0] switches = inputs[5:1];
    wire       answer   = inputs[0];  // from the memory

    // An instruction is three bits that say what to do and five that say with what.
    localparam SET = 3'd0, ADD = 3'd1, AND = 3'd2, LOOK = 3'd3, SHOW = 3'd4, JUMP = 3'd5, JUMP_IF_0 = 3'd6;

    // A bit lasts four steps, two with the clock low and two with it high (SPI mode 0). What the memory answers when
    // the clock falls is looked at when it rises: two steps, in which a chain of four frames brings it here.
    localparam LET_GO = 6'd0, FIRST = 6'd33, LAST = 6'd40, STOPPED = 6'd63;
    reg [1:0] quarter;
    reg [5:0] bits;  // 1 to 8 are the command, 9 to 32 the address, 33 to 40 an instruction
    wire selected = bits != LET_GO && bits != STOPPED;

    reg [31:0] sending;
    reg [7:0]  coming;  // an instruction, once it is whole
    reg [4:0]  target;  // where the memory is read from next
    reg [4:0]  sum, lamps;
    wire jump = coming[7:5] == JUMP || (coming[7:5] == JUMP_IF_0 && sum == 5'd0);
    wire stop = coming[7:5] == 3'd7;  // an empty memory reads ones, and stops it

    always @(posedge step)
        if (restart) begin
            quarter <= 2'd0;
            bits    <= LET_GO;
            sending <= 32'd0;
            coming  <= 8'd0;
            target  <= 5'd0;
            sum     <= 5'd0;
            lamps   <= 5'd0;
        end else begin
            quarter <= quarter + 2'd1;
            if (quarter == 2'd1) coming <= {coming[6:0], answer};  // as the clock rises, the highest bit first
            if (quarter == 2'd3) begin                             // as the clock falls
                sending <= (bits == LET_GO) ? {8'h03, 19'd0, target} : sending << 1;
                if (bits == LAST) begin
                    // The memory goes on to the next byte by itself; only a jump asks it anew.
                    bits <= stop ? STOPPED : jump ? LET_GO : FIRST;
                    case (coming[7:5])
                        SET:     sum    <= coming[4:0];
                        ADD:     sum    <= sum + coming[4:0];
                        AND:     sum    <= sum & coming[4:0];
                        LOOK:    sum    <= switches;
                        SHOW:    lamps  <= sum;
                        default: target <= coming[4:0];
                    endcase
                end else if (bits != STOPPED) bits <= bits + 6'd1;
            end
        end

    wire clock = selected & quarter[1];
    assign outputs = {lamps, sending[31], clock, ~selected};
endmodule
