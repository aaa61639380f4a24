// Travelling wave: a ring of eight cells, each of which looks at itself and its two neighbours at every step.
module travelling_wave (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];

    // Wolfram's number of the rule: its bit n is what becomes of a neighbourhood that reads n in binary.
    reg [7:0] rule;
    always @*
        case (inputs[1:0])
            2'd0: rule = 8'd170;  // each cell takes over its right neighbour: a wave to the left
            2'd1: rule = 8'd30;
            2'd2: rule = 8'd90;
            2'd3: rule = 8'd110;
        endcase

    reg  [7:0] cells;
    wire [7:0] left  = {cells[0], cells[7:1]};  // the left neighbour of each cell is the next higher bit
    wire [7:0] right = {cells[6:0], cells[7]};

    integer n;
    always @(posedge step)
        if (restart) cells <= 8'b0001_0000;
        else for (n = 0; n < 8; n = n + 1) cells[n] <= rule[{left[n], cells[n], right[n]}];

    assign outputs = cells;
endmodule
