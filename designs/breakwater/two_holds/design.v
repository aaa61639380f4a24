// Two holds: adds the cargo of two holds, four bits each, with a carry from bit to bit; gate by gate.
module breakwater_and2 (input a, input b, output y);
    assign y = a & b;
endmodule

module breakwater_or2 (input a, input b, output y);
    assign y = a | b;
endmodule

module breakwater_xor2 (input a, input b, output y);
    assign y = a ^ b;
endmodule

// Half an adder counts two bits, a whole one three.
module breakwater_half_adder (input a, input b, output sum, output carry);
    breakwater_xor2 x1 (a, b, sum);
    breakwater_and2 a1 (a, b, carry);
endmodule

module breakwater_full_adder (input a, input b, input c, output sum, output carry);
    wire partial, carry1, carry2;
    breakwater_half_adder h1 (a, b, partial, carry1);
    breakwater_half_adder h2 (partial, c, sum, carry2);
    breakwater_or2        o1 (carry1, carry2, carry);  // never both at once
endmodule

module two_holds (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire [3:0] fore = inputs[3:0];
    wire [3:0] aft  = inputs[7:4];
    wire [3:0] sum;
    wire [4:1] carry;  // into the bit of that number

    breakwater_half_adder bit0 (fore[0], aft[0], sum[0], carry[1]);
    breakwater_full_adder bit1 (fore[1], aft[1], carry[1], sum[1], carry[2]);
    breakwater_full_adder bit2 (fore[2], aft[2], carry[2], sum[2], carry[3]);
    breakwater_full_adder bit3 (fore[3], aft[3], carry[3], sum[3], carry[4]);

    assign outputs = {3'b000, carry[4], sum};
endmodule
