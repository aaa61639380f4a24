// Light in haze: how much of a light is left over so many miles of air; the table is computed, not written down.
module light_in_haze (
    input  [7:0] inputs,
    output [7:0] outputs
);
    // For each of four visibilities and each of sixteen distances the share of the light that is left, 255 for all.
    // The visibility is where a twentieth is left, and every mile takes the same part of what came to it.
    wire [64*8-1:0] shares;
    genvar n;
    generate
        for (n = 0; n < 64; n = n + 1) begin : entry
            localparam integer MILES      = n % 16;
            localparam integer VISIBILITY = 2 ** (n / 16 + 1);  // 2, 4, 8 or 16 miles
            localparam real    LEFT       = 0.05 ** (1.0 * MILES / VISIBILITY);
            localparam integer SHARE      = $rtoi(255.0 * LEFT + 0.5);
            assign shares[8*n +: 8] = SHARE;
        end
    endgenerate

    assign outputs = shares[8*inputs[5:0] +: 8];
endmodule
