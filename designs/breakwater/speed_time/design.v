// Speed times time: the product of two numbers of four bits, multiplied as at school, in binary.
module speed_time (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [3:0] speed = inputs[3:0];
    wire [7:0] hours = {4'b0000, inputs[7:4]};

    // A digit of a binary number is 0 or 1, so a line of the sum is nothing at all or the other number, moved up.
    wire [7:0] line0 = speed[0] ? hours      : 8'd0;
    wire [7:0] line1 = speed[1] ? hours << 1 : 8'd0;
    wire [7:0] line2 = speed[2] ? hours << 2 : 8'd0;
    wire [7:0] line3 = speed[3] ? hours << 3 : 8'd0;

    assign outputs = line0 + line1 + line2 + line3;
endmodule
