// Gated clock: a counter whose clock passes through a gate, with a latch that keeps the gate from cutting a pulse.
module breakwater_and2 (input a, input b, output y);
    assign y = a & b;
endmodule

module breakwater_or2 (input a, input b, output y);
    assign y = a | b;
endmodule

module breakwater_latch_low (input enable_n, input d, output reg q);
    always @*
        if (~enable_n) q = d;
endmodule

module breakwater_toggle (input clock, input clear, input t, output reg q);
    always @(posedge clock)
        q <= ~clear & (q ^ t);
endmodule

module gated_clock (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step = inputs[7], restart = inputs[6], count = inputs[0];
    wire wanted, open, gated, carry;
    wire [2:0] q;

    // The latch follows only while the step line is low, so the gate cannot open in the middle of a pulse.
    breakwater_or2       or1   (count, restart, wanted);
    breakwater_latch_low latch (step, wanted, open);
    breakwater_and2      gate  (step, open, gated);

    breakwater_toggle t0 (gated, restart, 1'b1, q[0]);
    breakwater_toggle t1 (gated, restart, q[0], q[1]);
    breakwater_and2   a1 (q[0], q[1], carry);
    breakwater_toggle t2 (gated, restart, carry, q[2]);

    assign outputs = {gated, 4'b0000, q};
endmodule
