// Ripple clock: a counter in which each flip-flop is the clock of the next one; gate by gate.
module breakwater_not (input a, output y);
    assign y = ~a;
endmodule

module breakwater_flop (input clock, input clear, input d, output reg q);
    always @(posedge clock or posedge clear)
        if (clear) q <= 1'b0;
        else       q <= d;
endmodule

module ripple_clock (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [7:0] q, not_q;
    assign outputs = q;

    // A bit turns over when the one below it falls, so that its inverse rises.
    breakwater_flop f0 (inputs[7], inputs[6], not_q[0], q[0]);
    breakwater_flop f1 (not_q[0], inputs[6], not_q[1], q[1]);
    breakwater_flop f2 (not_q[1], inputs[6], not_q[2], q[2]);
    breakwater_flop f3 (not_q[2], inputs[6], not_q[3], q[3]);
    breakwater_flop f4 (not_q[3], inputs[6], not_q[4], q[4]);
    breakwater_flop f5 (not_q[4], inputs[6], not_q[5], q[5]);
    breakwater_flop f6 (not_q[5], inputs[6], not_q[6], q[6]);
    breakwater_flop f7 (not_q[6], inputs[6], not_q[7], q[7]);

    breakwater_not n0 (q[0], not_q[0]);
    breakwater_not n1 (q[1], not_q[1]);
    breakwater_not n2 (q[2], not_q[2]);
    breakwater_not n3 (q[3], not_q[3]);
    breakwater_not n4 (q[4], not_q[4]);
    breakwater_not n5 (q[5], not_q[5]);
    breakwater_not n6 (q[6], not_q[6]);
    breakwater_not n7 (q[7], not_q[7]);
endmodule
