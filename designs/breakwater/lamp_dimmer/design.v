// Lamp dimmer: of every fifteen steps the lamp is lit for as many as the switches say.
module lamp_dimmer (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [3:0] level   = inputs[3:0];

    // Fifteen places, not sixteen: level 0 is then quite dark and level 15 never goes out.
    reg [3:0] place;
    always @(posedge step)
        if (restart || place == 4'd14) place <= 4'd0;
        else                           place <= place + 4'd1;

    wire lamp = place < level;
    assign outputs = {place == 4'd0, {7{lamp}}};
endmodule
