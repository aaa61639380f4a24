// A lamp that sends one of sixteen letters in dots and dashes.
module morse #(parameter UNIT = 3) (input clk, rst, go, input [3:0] letter, output reg lamp, output ready);
  reg [12:0] shape = 0;
  reg [3:0] left = 0;
  reg [1:0] unit = 0;
  assign ready = left == 0;
  function [16:0] of(input [3:0] l); // how long, then the shape, first unit lowest
    case (l)
      0: of = {4'd5, 13'b11101};
      1: of = {4'd9, 13'b101010111};
      2: of = {4'd11, 13'b10111010111};
      3: of = {4'd7, 13'b1010111};
      4: of = {4'd1, 13'b1};
      5: of = {4'd9, 13'b101110101};
      6: of = {4'd9, 13'b101110111};
      7: of = {4'd7, 13'b1010101};
      8: of = {4'd3, 13'b101};
      9: of = {4'd13, 13'b1110111011101};
      default: of = {4'd3, 13'b111};
    endcase
  endfunction
  initial lamp = 0;
  always @(posedge clk)
    if (rst) begin
      left <= 0;
      lamp <= 0;
      unit <= 0;
    end else if (unit != 0) unit <= unit - 1;
    else begin
      unit <= UNIT - 1;
      if (left != 0) begin
        left <= left - 1;
        lamp <= shape[0];
        shape <= shape >> 1;
      end else begin
        lamp <= 0;
        if (go) {left, shape} <= of(letter);
      end
    end
endmodule
