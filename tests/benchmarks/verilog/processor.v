// An eight-bit accumulator processor: sixteen bytes of memory for program and data, two clocks an instruction.
module processor (
    input  wire       clk,
    input  wire       rst,
    input  wire [7:0] inputs,
    output wire [7:0] outputs
);
    localparam LOAD = 4'd0, ADD = 4'd1, SUBTRACT = 4'd2, AND = 4'd3, XOR = 4'd4, STORE = 4'd5, JUMP = 4'd6,
        JUMP_NOT_ZERO = 4'd7, JUMP_CARRY = 4'd8, ADD_NUMBER = 4'd9, LOAD_NUMBER = 4'd10, ROTATE = 4'd11, PINS = 4'd12;

    reg [7:0] memory [0:15];
    reg       execute = 1'b0;
    reg [3:0] counter = 4'd0;
    reg [7:0] instruction = 8'd0;
    reg [7:0] accumulator = 8'd0;
    reg       carry = 1'b0;
    wire [3:0] operation = instruction[7:4];
    wire [3:0] argument = instruction[3:0];
    wire [7:0] data = memory[execute ? argument : counter];

    initial begin
        memory[0] = {LOAD, 4'd13};
        memory[1] = {ADD, 4'd14};
        memory[2] = {STORE, 4'd13};
        memory[3] = {LOAD, 4'd15};
        memory[4] = {ADD_NUMBER, 4'd15};
        memory[5] = {STORE, 4'd15};
        memory[6] = {JUMP_NOT_ZERO, 4'd0};
        memory[7] = {LOAD, 4'd13};
        memory[8] = {ROTATE, 4'd0};
        memory[9] = {STORE, 4'd14};
        memory[10] = {PINS, 4'd0};
        memory[11] = {STORE, 4'd15};
        memory[12] = {JUMP, 4'd0};
        memory[13] = 8'h01;
        memory[14] = 8'h5B;
        memory[15] = 8'h03;
    end

    always @(posedge clk)
        if (execute && operation == STORE)
            memory[argument] <= accumulator;

    always @(posedge clk)
        if (rst) begin
            execute <= 1'b0;
            counter <= 4'd0;
            instruction <= 8'd0;
            accumulator <= 8'd0;
            carry <= 1'b0;
        end else begin
            execute <= !execute;
            if (!execute) begin
                instruction <= data;
                counter <= counter + 4'd1;
            end else
                case (operation)
                    LOAD: accumulator <= data;
                    ADD: {carry, accumulator} <= accumulator + data;
                    SUBTRACT: {carry, accumulator} <= accumulator - data;
                    AND: accumulator <= accumulator & data;
                    XOR: accumulator <= accumulator ^ data;
                    JUMP: counter <= argument;
                    JUMP_NOT_ZERO: if (accumulator != 8'd0) counter <= argument;
                    JUMP_CARRY: if (carry) counter <= argument;
                    ADD_NUMBER: accumulator <= accumulator + {{4{argument[3]}}, argument};
                    LOAD_NUMBER: accumulator <= {4'd0, argument};
                    ROTATE: {carry, accumulator} <= {accumulator, carry};
                    PINS: accumulator <= {2'd0, inputs[5:0]};
                    default: ;
                endcase
        end

    assign outputs = accumulator;
endmodule
