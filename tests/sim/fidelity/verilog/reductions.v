// Reductions, repetitions, concatenations, conditions and logical operators, without a clock.
module reductions (input [10:0] a, input [4:0] b, input c, output [5:0] all, output [21:0] many, output [3:0] logic_,
                   output [10:0] chosen, output [7:0] nested);
  assign all = {&a, |a, ^a, ~&b, ~|b, ~^b};
  assign many = {2{a}} ^ {{4{b}}, {2{c}}};
  assign logic_ = {a && b, a || c, !b, !a == c};
  assign chosen = c ? a : b ? {b, 6'd5} : 11'h2aa;
  assign nested = a[0] ? a[1] ? 8'd1 : a[2] ? 8'd2 : 8'd3 : (a > {6'b0, b}) ? 8'd4 : {3'b0, b};
endmodule
