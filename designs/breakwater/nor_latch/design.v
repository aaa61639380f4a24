// NOR latch: two cross-coupled gates remember which of two buttons was pressed last; gate by gate.
module breakwater_nor2 (input a, input b, output y);
    assign y = ~(a | b);
endmodule

module nor_latch (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire set   = inputs[0];
    wire reset = inputs[1];
    wire q, not_q;

    // Each gate listens to the other one: a 1 on one side holds the other side at 0.
    breakwater_nor2 upper (reset, not_q, q);
    breakwater_nor2 lower (set, q, not_q);

    assign outputs = {6'b000000, not_q, q};
endmodule
