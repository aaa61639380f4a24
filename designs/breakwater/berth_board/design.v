// Berth board: writes which berth is free on a character display of two lines, four bits at a time.
module berth_board (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [3:0] wanted  = inputs[3:0];  // the berth from 0 to 7, and whether it is taken

    // A byte lasts sixteen steps, eight for each half of it. At 1500 steps a second eight are 5.3 ms, more than any
    // wait that the display asks for, so nothing needs to know which wait is due.
    localparam START = 6'd4, HOME = 6'd11, REST = 6'd45;
    reg [3:0] tick;
    reg [5:0] place;  // which byte
    reg [3:0] shown;  // the switches, as they were at the first byte of the text
    always @(posedge step)
        if (restart) begin
            tick  <= 4'd0;
            place <= 6'd0;
            shown <= 4'd0;
        end else if (place != REST) begin
            tick <= tick + 4'd1;
            if (tick == 4'd15) begin
                place <= place + 6'd1;
                if (place == HOME - 6'd1) shown <= wanted;
            end
        end else if (wanted != shown) begin
            place <= HOME;
            shown <= wanted;
        end

    wire [8*16-1:0] line1 = {"BERTH ", 8'h30 | {5'd0, shown[2:0]}, "         "};
    wire [8*16-1:0] line2 = shown[3] ? "TAKEN           " : "FREE            ";

    reg       text;  // a character, not a command
    reg [7:0] data;
    always @* begin
        text = 1'b0;
        case (place)
            6'd4:  data = 8'h33;  // as the data sheet has it, a half three times and then a fourth one:
            6'd5:  data = 8'h32;  // whatever it did before, it takes bytes in halves now
            6'd6:  data = 8'h28;  // two lines
            6'd7:  data = 8'h08;  // display off
            6'd8:  data = 8'h01;  // clear
            6'd9:  data = 8'h06;  // write to the right
            6'd10: data = 8'h0c;  // display on
            6'd11: data = 8'h80;  // to the start of line 1
            6'd28: data = 8'hc0;  // to the start of line 2
            default: begin
                text = place > HOME && place < REST;
                data = !text ? 8'h00 : (place < 6'd28) ? line1[8*(27 - place) +: 8] : line2[8*(44 - place) +: 8];
            end
        endcase
    end

    // The display takes a half as the enable line falls, in the middle of its eight steps.
    wire       enable = place >= START && place < REST && tick[2:1] == 2'b01;
    wire [3:0] half   = tick[3] ? data[3:0] : data[7:4];
    assign outputs = {2'b00, enable, text, half};
endmodule
