// A lamp dimmed by pulse width; the level is taken over at the start of a period of 256 steps.
module dimmer (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    reg [7:0] phase = 8'd0;
    reg [5:0] level = 6'd0;
    wire last = phase == 8'd255;
    wire lit = phase < {level, 2'b00};

    always @(posedge clk)
        if (rst) begin
            phase <= 8'd0;
            level <= 6'd0;
        end else begin
            phase <= phase + 8'd1;
            if (last)
                level <= inputs[5:0];
        end

    assign outputs = {level, last, lit};
endmodule
