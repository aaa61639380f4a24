// A sixteen-bit shift register with the feedback x^16 + x^14 + x^13 + x^11 + 1.
module lfsr (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    reg [15:0] state = 16'd1;

    always @(posedge clk)
        if (rst)
            state <= 16'd1;
        else if (inputs[0])
            state <= {state[14:0], state[15] ^ state[13] ^ state[12] ^ state[10]};

    assign outputs = inputs[1] ? state[15:8] : state[7:0];
endmodule
