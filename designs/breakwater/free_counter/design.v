// Free counter: counts steps without a restart, from wherever it woke up.
module free_counter (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step = inputs[7];
    wire hold = inputs[0];

    reg [7:0] count;
    always @(posedge step)
        if (~hold) count <= count + 8'd1;

    assign outputs = count;
endmodule
