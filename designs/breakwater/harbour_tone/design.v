// Harbour tone: a sine for a converter of eight bits, from a table that is computed, not written down.
module harbour_tone (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [1:0] octave  = inputs[1:0];

    localparam real CIRCLE = 6.283185307179586;
    reg [7:0] wave [0:63];
    integer n;
    initial for (n = 0; n < 64; n = n + 1) wave[n] = $rtoi(128.5 + 127.0 * $sin(CIRCLE * n / 64));

    // An octave higher is twice as far around the circle in the same time.
    reg [5:0] phase;
    always @(posedge step)
        phase <= restart ? 6'd0 : phase + (6'd1 << octave);

    assign outputs = wave[phase];
endmodule
