// A serial multiplier, 32 by 32 bits: four clocks to load, 32 to shift and add, eight to show the product.
module multiplier (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    localparam LOAD = 2'd0, MULTIPLY = 2'd1, SHOW = 2'd2;

    reg [1:0]  step = LOAD;
    reg [4:0]  count = 5'd0;
    reg [15:0] noise = 16'd1;
    reg [31:0] factor = 32'd0;
    reg [63:0] product = 64'd0;
    wire [32:0] total = product[63:32] + (product[0] ? factor : 32'd0);

    always @(posedge clk)
        if (rst) begin
            step <= LOAD;
            count <= 5'd0;
            noise <= 16'd1;
            factor <= 32'd0;
            product <= 64'd0;
        end else begin
            noise <= {noise[14:0], noise[15] ^ noise[13] ^ noise[12] ^ noise[10]};
            count <= count + 5'd1;
            case (step)
                LOAD: begin
                    factor <= {noise[7:0], factor[31:8]};
                    product <= {32'd0, noise[15:8] ^ {2'd0, inputs[5:0]}, product[31:8]};
                    if (count == 5'd3) begin
                        count <= 5'd0;
                        step <= MULTIPLY;
                    end
                end
                MULTIPLY: begin
                    product <= {total, product[31:1]};
                    if (count == 5'd31) begin
                        count <= 5'd0;
                        step <= SHOW;
                    end
                end
                default: begin
                    product <= product >> 8;
                    if (count == 5'd7) begin
                        count <= 5'd0;
                        step <= LOAD;
                    end
                end
            endcase
        end

    assign outputs = product[7:0];
endmodule
