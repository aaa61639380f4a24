// Berth lamps: a number on three switches lights one of eight lamps; gate by gate.
module breakwater_not (input a, output y);
    assign y = ~a;
endmodule

module breakwater_and2 (input a, input b, output y);
    assign y = a & b;
endmodule

module berth_lamps (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [2:0] yes = inputs[2:0];
    wire [2:0] no;
    breakwater_not n0 (yes[0], no[0]);
    breakwater_not n1 (yes[1], no[1]);
    breakwater_not n2 (yes[2], no[2]);

    // The two upper bits choose a pair of lamps, if any shall be lit at all.
    wire lit = inputs[3];
    wire [1:0] half;
    wire [3:0] pair;
    breakwater_and2 h0 (lit, no[2], half[0]);
    breakwater_and2 h1 (lit, yes[2], half[1]);
    breakwater_and2 p0 (half[0], no[1], pair[0]);
    breakwater_and2 p1 (half[0], yes[1], pair[1]);
    breakwater_and2 p2 (half[1], no[1], pair[2]);
    breakwater_and2 p3 (half[1], yes[1], pair[3]);

    breakwater_and2 l0 (pair[0], no[0], outputs[0]);
    breakwater_and2 l1 (pair[0], yes[0], outputs[1]);
    breakwater_and2 l2 (pair[1], no[0], outputs[2]);
    breakwater_and2 l3 (pair[1], yes[0], outputs[3]);
    breakwater_and2 l4 (pair[2], no[0], outputs[4]);
    breakwater_and2 l5 (pair[2], yes[0], outputs[5]);
    breakwater_and2 l6 (pair[3], no[0], outputs[6]);
    breakwater_and2 l7 (pair[3], yes[0], outputs[7]);
endmodule
