// Inverter ring: an odd ring of inverting gates that runs free while i0 is 1; gate by gate.
module breakwater_nand2 (input a, input b, output y);
    assign y = ~(a & b);
endmodule

module breakwater_not (input a, output y);
    assign y = ~a;
endmodule

module inverter_ring (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [4:0] ring;

    // With i0 at 0 the first gate gives 1 whatever comes round, and the ring stands still.
    breakwater_nand2 gate (inputs[0], ring[4], ring[0]);
    breakwater_not   n1   (ring[0], ring[1]);
    breakwater_not   n2   (ring[1], ring[2]);
    breakwater_not   n3   (ring[2], ring[3]);
    breakwater_not   n4   (ring[3], ring[4]);

    // The same gates without a ring, for comparison: twice inverted, i1 is itself again.
    wire once, twice;
    breakwater_not n5 (inputs[1], once);
    breakwater_not n6 (once, twice);

    assign outputs = {twice, 2'b00, ring};
endmodule
