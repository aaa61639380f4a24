// Cable guard: takes a word of four bits off a noisy cable, mends one wrong bit and tells of two.
module cable_guard (
    input  [7:0] inputs,
    output [7:0] outputs
);
    // Hamming's code: the bits that came have the places 1 to 7, of which 1, 2 and 4 are parities, each over the places
    // whose number has that bit. A parity that fails adds its number to the place of the wrong bit.
    wire [7:1] came = inputs[6:0];
    wire [2:0] place = {
        came[4] ^ came[5] ^ came[6] ^ came[7],
        came[2] ^ came[3] ^ came[6] ^ came[7],
        came[1] ^ came[3] ^ came[5] ^ came[7]
    };

    // With the eighth bit all eight hold an even number of ones: one wrong bit makes it odd, two do not.
    wire odd      = ^inputs;
    wire hopeless = ~odd & (place != 3'd0);

    wire [7:0] wrong = odd ? 8'd1 << place : 8'd0;  // bit 0: nothing but the eighth bit is wrong
    wire [7:1] word  = came ^ wrong[7:1];

    assign outputs = {hopeless, place, word[7], word[6], word[5], word[3]};
endmodule
