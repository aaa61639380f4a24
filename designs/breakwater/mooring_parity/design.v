// Mooring parity: whether an odd number of eight mooring lines is taut; gate by gate, from one kind of gate.
module breakwater_nand2 (input a, input b, output y);
    assign y = ~(a & b);
endmodule

// Exclusive or from four of them: 1 where the two inputs differ.
module breakwater_xor2 (input a, input b, output y);
    wire both, only_a, only_b;
    breakwater_nand2 n1 (a, b, both);
    breakwater_nand2 n2 (a, both, only_a);
    breakwater_nand2 n3 (b, both, only_b);
    breakwater_nand2 n4 (only_a, only_b, y);
endmodule

module mooring_parity (
    input  [7:0] inputs,
    output [7:0] outputs
);
    // A tree: pairs, fours, all. It is three gates deep where a chain would be seven.
    wire [3:0] pair;
    wire [1:0] four;
    wire       all;
    breakwater_xor2 p0 (inputs[0], inputs[1], pair[0]);
    breakwater_xor2 p1 (inputs[2], inputs[3], pair[1]);
    breakwater_xor2 p2 (inputs[4], inputs[5], pair[2]);
    breakwater_xor2 p3 (inputs[6], inputs[7], pair[3]);
    breakwater_xor2 f0 (pair[0], pair[1], four[0]);
    breakwater_xor2 f1 (pair[2], pair[3], four[1]);
    breakwater_xor2 a0 (four[0], four[1], all);

    assign outputs = {all, 1'b0, four, pair};
endmodule
