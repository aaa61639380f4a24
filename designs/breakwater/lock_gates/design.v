// Lock gates: two gates of a lock, of which at most one is ever open.
module lock_gates (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step       = inputs[7];
    wire restart    = inputs[6];
    wire want_sea   = inputs[0];
    wire want_basin = inputs[1];

    // A gate opens only while the other one is shut; if both are wanted of a shut lock, the sea gate opens.
    reg sea, basin;
    always @(posedge step)
        if (restart) begin
            sea   <= 1'b0;
            basin <= 1'b0;
        end else begin
            sea   <= want_sea & ~basin;
            basin <= want_basin & ~sea & (basin | ~want_sea);
        end

    // The upper left side of the digit is the sea gate, the upper right one the basin gate; a bar is a shut lock.
    wire shut = ~sea & ~basin;
    assign outputs = {1'b0, shut, sea, 3'b000, basin, 1'b0};
endmodule
