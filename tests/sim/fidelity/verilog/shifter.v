// A shift register that shifts and rotates both ways, with parallel load.
module shifter (input clk, input [2:0] mode, input left_in, right_in, input [31:0] d, output reg [31:0] q);
  initial q = 32'h12345678;
  always @(posedge clk)
    case (mode)
      3'b001: q <= {q[30:0], right_in};
      3'b010: q <= {left_in, q[31:1]};
      3'b011: q <= d;
      3'b100: q <= {q[30:0], q[31]};
      3'b101: q <= {q[0], q[31:1]};
      3'b110: q <= {q[31], q[31:1]};
      3'b111: q <= ~q;
      default: q <= q;
    endcase
endmodule
