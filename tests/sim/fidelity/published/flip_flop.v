// The flip-flop that a published sequential netlist uses and does not define.
module ff (input CK, D, output reg Q);
  initial Q = 0;
  always @(posedge CK) Q <= D;
endmodule
