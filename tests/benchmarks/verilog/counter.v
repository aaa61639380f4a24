// An eight-bit counter whose upper half shows as a hexadecimal digit.
module counter (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    reg [7:0] count = 8'd0;
    reg [6:0] segments;

    always @(posedge clk)
        if (rst)
            count <= 8'd0;
        else if (inputs[0])
            count <= inputs[1] ? count - 8'd1 : count + 8'd1;

    always @*
        case (count[7:4])
            4'h0: segments = 7'h3F;
            4'h1: segments = 7'h06;
            4'h2: segments = 7'h5B;
            4'h3: segments = 7'h4F;
            4'h4: segments = 7'h66;
            4'h5: segments = 7'h6D;
            4'h6: segments = 7'h7D;
            4'h7: segments = 7'h07;
            4'h8: segments = 7'h7F;
            4'h9: segments = 7'h6F;
            4'hA: segments = 7'h77;
            4'hB: segments = 7'h7C;
            4'hC: segments = 7'h39;
            4'hD: segments = 7'h5E;
            4'hE: segments = 7'h79;
            4'hF: segments = 7'h71;
        endcase

    assign outputs = {count[3], segments};
endmodule
