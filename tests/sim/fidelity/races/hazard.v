// A gate with both senses of one signal, used as a clock.
module hazard (input a, output reg q);
  wire b = ~a;
  wire pulse = a & b;
  initial q = 0;
  always @(posedge pulse) q <= 1;
endmodule
